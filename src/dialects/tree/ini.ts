import type { Lines } from '#dialects/source';
import { NodeMaker, type OpenNode, type Tree } from './node.ts';

import { wordsBetween } from './words.ts';

/**
 * Reads sections and keys: `[section words]`, `key = value`, `key: value`. Lines that start with `#` or `;` are
 * comments; a backslash at the end of a line continues it (common practice, no source). Keys and sections may repeat
 * and keep their order. A line that is neither becomes a statement.
 */
export function readIni(source: Lines): Tree {
  const { text } = source;
  const lineStarts = source.starts;
  const make = new NodeMaker(source);
  const root = make.open('root', '', 0);
  let section: OpenNode = root;
  const lineEnd = (index: number) => lineStarts[index + 1] ?? text.length;

  for (let i = 0; i < lineStarts.length; i++) {
    const start = firstInk(text, lineStarts[i]!, lineEnd(i));
    let end = lastInk(text, start, lineEnd(i));
    if (start >= end || text[start] === '#' || text[start] === ';') continue;
    while (text[end - 1] === '\\' && i + 1 < lineStarts.length) {
      i++;
      end = Math.max(end + 1, lastInk(text, lineStarts[i]!, lineEnd(i)));
    }
    if (text[start] === '[') {
      if (text[end - 1] !== ']')
        throw make.refuse('dialects/malformed', 'The section name is not closed by a bracket.', start);
      const words = wordsBetween(text, start + 1, end - 1);
      section = make.open('section', words[0]?.text ?? '', start, 1);
      takeWords(
        section,
        words.slice(1).map((w) => w.text),
        words[1]?.start ?? -1,
        end - 1,
      );
      make.adopt(root, make.close(section, end));
      continue;
    }
    make.adopt(section, key(source, make, start, end));
    if (section !== root) make.close(section, end);
  }
  return { format: 'ini', source, root: make.close(root, text.length) };
}

function key(source: Lines, make: NodeMaker, start: number, end: number): OpenNode {
  const raw = source.text.slice(start, end);
  const split = /^([^=]*?)[ \t]*=/.exec(raw) ?? /^([\w.-]+)[ \t]*:(?=[ \t]|$)/.exec(raw);
  if (split === null) {
    const words = wordsBetween(source.text, start, end);
    const node = make.open('statement', words[0]?.text ?? raw, start, 2);
    takeWords(
      node,
      words.slice(1).map((w) => w.text),
      words[1]?.start ?? -1,
      end,
    );
    return make.close(node, end);
  }
  const node = make.open('string', split[1]!, start, 2);
  const from = Math.min(end, firstInk(source.text, start + split[0].length, end));
  node.valueStart = from;
  node.valueEnd = end;
  node.value = source.text.slice(from, end).replace(/\\\r?\n[ \t]*/g, ' ');
  node.words = wordsBetween(node.value, 0, node.value.length).map((w) => w.text);
  return make.close(node, end);
}

function takeWords(node: OpenNode, words: string[], start: number, end: number): void {
  if (words.length === 0) return;
  node.words = words;
  node.value = words.join(' ');
  node.valueStart = start;
  node.valueEnd = end;
}

function firstInk(text: string, from: number, to: number): number {
  let at = from;
  while (at < to && (text.charCodeAt(at) <= 32 || text[at] === '\ufeff')) at++;
  return at;
}

function lastInk(text: string, from: number, to: number): number {
  let at = to;
  while (at > from && text.charCodeAt(at - 1) <= 32) at--;
  return at;
}
