import { SaxesParser } from 'saxes';
import { TuckpointError } from '#core/errors';
import type { Lines } from '#dialects/source';
import { NodeMaker, type OpenNode, type Tree, type TreeAttribute } from './node.ts';

/** Stands for a child in the text of its parent, where that has text beside children. */
const CHILD = '…';

/**
 * Reads XML 1.0 with namespaces. Entities other than the five of XML itself are refused, so nothing can expand.
 * Throws `dialects/malformed`, `dialects/too-deep`.
 */
export function readXml(source: Lines): Tree {
  const { text } = source;
  const make = new NodeMaker(source);
  // A surrogate of its own is no character (XML 1.0 production 2), and the parser stumbles over one at the end.
  const half = /\p{Surrogate}/u.exec(text);
  if (half !== null) throw make.refuse('dialects/malformed', 'The text holds half a character.', half.index);
  const root = make.open('root', '', 0);
  const open: OpenNode[] = [root];
  const texts: string[][] = [[]];
  /** Where the start tag of each open element ended. */
  const bodies: number[] = [0];
  let tagStart = 0;
  // A byte order mark is not part of the document (XML 1.0 appendix F); saxes drops it, so offsets shift by one.
  const mark = text.startsWith('\ufeff') ? 1 : 0;

  const parser = new SaxesParser({ xmlns: true, position: true });
  const at = () => parser.position + mark;
  parser.on('error', (error) => {
    const what = error.message.replace(/^\d+:\d+: /, '').replace(/\.$/, '');
    const line = source.lineAt(Math.min(at(), text.length));
    const truncated = parser.position + mark >= text.trimEnd().length;
    throw new TuckpointError('dialects/malformed', `This is not well-formed XML: ${what}.`, {
      place: { file: source.file, line },
      ...(truncated ? { advice: 'The file may be truncated.' } : {}),
    });
  });
  parser.on('opentagstart', () => {
    tagStart = text.lastIndexOf('<', at() - 1);
  });
  parser.on('opentag', (tag) => {
    const node = make.open('element', tag.local, tagStart, open.length - 1);
    node.namespace = tag.uri;
    node.attributes = attributesOf(tag.attributes, text, tagStart, at());
    make.adopt(open.at(-1)!, node);
    texts.at(-1)!.push(CHILD);
    open.push(node);
    texts.push([]);
    bodies.push(at());
  });
  parser.on('text', (piece) => texts.at(-1)!.push(piece));
  parser.on('cdata', (piece) => texts.at(-1)!.push(piece));
  parser.on('closetag', (tag) => {
    const node = open.pop()!;
    const pieces = texts.pop()!;
    const value = pieces.join('').trim();
    const body = bodies.pop()!;
    make.close(node, at());
    if (node.children.length > 0) {
      if (pieces.some((piece) => piece !== CHILD && piece.trim() !== ''))
        node.value = value.replace(/\s+/g, ' ');
      return;
    }
    if (tag.isSelfClosing) return;
    const bodyEnd = text.lastIndexOf('</', at() - 1);
    const raw = text.slice(body, bodyEnd);
    node.valueStart = body + (raw.trim() === '' ? 0 : raw.length - raw.trimStart().length);
    node.valueEnd = raw.trim() === '' ? body : body + raw.trimEnd().length;
    if (value !== '') node.value = value;
  });
  parser.write(mark === 1 ? text.slice(1) : text).close();
  return { format: 'xml', source, root: make.close(root, text.length) };
}

type Found = Readonly<Record<string, { readonly name: string; readonly value: string }>>;

/** Finds the raw span of each attribute inside its start tag. */
function attributesOf(found: Found, text: string, start: number, end: number): TreeAttribute[] {
  const spans = new Map<string, [number, number]>();
  const pattern = /\s([^\s=<>"'/]+)\s*=\s*(?:"([^"]*)"|'([^']*)')/gy;
  pattern.lastIndex = start + (/^<[^\s/>]+/.exec(text.slice(start, end))?.[0].length ?? 0);
  for (;;) {
    while (/\s/.test(text[pattern.lastIndex] ?? '') && /\s/.test(text[pattern.lastIndex + 1] ?? ''))
      pattern.lastIndex++;
    const hit = pattern.exec(text);
    if (hit === null || hit.index >= end) break;
    const length = (hit[2] ?? hit[3] ?? '').length;
    spans.set(hit[1]!, [pattern.lastIndex - 1 - length, pattern.lastIndex - 1]);
  }
  return Object.values(found).map(({ name, value }) => {
    const [from, to] = spans.get(name) ?? [start, start];
    return { name, value, start: from, end: to };
  });
}
