import type { Lines } from '#dialects/source';
import { NodeMaker, type OpenNode, type Tree } from './node.ts';

import { wordsBetween } from './words.ts';

/**
 * Reads statements nested by indentation, one on a line; a tab reaches to the next multiple of eight columns.
 * A line deeper than the one above is its child. `#` and `!` start a comment line. A colon at the end of the first
 * word is not part of its name.
 */
export function readIndentation(source: Lines): Tree {
  const { text } = source;
  const lineStarts = source.starts;
  const make = new NodeMaker(source);
  const root = make.open('root', '', 0);
  const open: { node: OpenNode; column: number }[] = [{ node: root, column: -1 }];

  for (let i = 0; i < lineStarts.length; i++) {
    const lineStart = lineStarts[i]!;
    const lineEnd = lineStarts[i + 1] ?? text.length;
    let start = lineStart;
    let column = 0;
    for (; start < lineEnd; start++) {
      const c = text[start];
      if (c === ' ') column++;
      else if (c === '\t') column += 8 - (column % 8);
      else if (c !== '\ufeff') break;
    }
    let end = lineEnd;
    while (end > start && text.charCodeAt(end - 1) <= 32) end--;
    if (start >= end || text[start] === '#' || text[start] === '!') continue;

    while (open.at(-1)!.column >= column) open.pop();
    const words = wordsBetween(text, start, end);
    const first = words[0]!.text;
    const name = first.length > 1 && first.endsWith(':') ? first.slice(0, -1) : first;
    const node = make.open('statement', name, start, open.length);
    if (words.length > 1) {
      node.words = words.slice(1).map((w) => w.text);
      node.value = node.words.join(' ');
      node.valueStart = words[1]!.start;
      node.valueEnd = end;
    }
    make.adopt(open.at(-1)!.node, make.close(node, end));
    for (const { node: parent } of open) if (parent !== root) make.close(parent, end);
    open.push({ node, column });
  }
  return { format: 'indentation', source, root: make.close(root, text.length) };
}
