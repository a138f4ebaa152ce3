import { type Lines, Words } from '#dialects/source';
import { NodeMaker, type OpenNode, quoted, type Tree } from './node.ts';

const TOKEN =
  /[ \t\r\n]*(?:([{}[\],:])|("[^"\\\u0000-\u001f]*(?:\\.[^"\\\u0000-\u001f]*)*")|(-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?)|(true|false|null))/y;

const MARKS: ReadonlySet<number> = new Set([...'{}[],:'].map((mark) => mark.charCodeAt(0)));

const isBlank = (code: number): boolean => code === 32 || code === 10 || code === 13 || code === 9;

/** Where a string without escapes ends, or 0 when it is another one, or none. */
function endOfPlainString(text: string, start: number): number {
  for (let at = start + 1; ; at++) {
    const code = text.charCodeAt(at);
    if (code === 34) return at + 1;
    // Beyond the end there is no code, which is no more than a blank either.
    if (code === 92 || !(code >= 32)) return 0;
  }
}

interface Token {
  readonly type: string;
  readonly start: number;
  readonly end: number;
}

/** Reads JSON text (RFC 8259). Members with the same name are all kept. Throws `dialects/malformed`, `dialects/too-deep`. */
export function readJson(source: Lines): Tree {
  const { text } = source;
  const make = new NodeMaker(source);
  const words = new Words(text);
  let at = text.startsWith('\ufeff') ? 1 : 0;

  const next = (): Token => {
    while (isBlank(text.charCodeAt(at))) at++;
    const start = at;
    const code = text.charCodeAt(start);
    if (MARKS.has(code)) return { type: text[start]!, start, end: ++at };
    const end = code === 34 ? endOfPlainString(text, start) : 0;
    if (end > 0) {
      at = end;
      return { type: 'string', start, end };
    }
    TOKEN.lastIndex = at;
    const found = TOKEN.exec(text);
    if (found === null) {
      const rest = text.slice(at).trimStart();
      const where = text.length - rest.length;
      // Nothing more, or a quoted text that never closes.
      if (rest === '' || /^"(?:[^"\\\n]|\\.)*\\?$/.test(rest))
        throw make.refuse(
          'dialects/malformed',
          'The JSON text ends before it is complete.',
          text.length,
          'The file may be truncated.',
        );
      throw make.refuse('dialects/malformed', `This is not JSON: ${quoted(rest)}.`, where);
    }
    at = TOKEN.lastIndex;
    const [, mark, string, number, literal] = found;
    const type = mark ?? (string !== undefined ? 'string' : number !== undefined ? 'number' : 'literal');
    return { type, start: at - (mark ?? string ?? number ?? literal)!.length, end: at };
  };
  const decode = (token: Token): string => {
    if (token.type !== 'string') return words.of(token.start, token.end);
    const inside = words.of(token.start + 1, token.end - 1);
    if (!inside.includes('\\')) return inside;
    const raw = `"${inside}"`;
    try {
      return JSON.parse(raw) as string;
    } catch {
      throw make.refuse(
        'dialects/malformed',
        `The string ${quoted(raw)} has an escape that JSON does not know.`,
        token.start,
      );
    }
  };
  const unexpected = (token: Token, wanted: string) =>
    make.refuse(
      'dialects/malformed',
      `Expected ${wanted}, found ${quoted(text.slice(token.start, token.end))}.`,
      token.start,
    );

  const value = (name: string, start: number, token: Token, depth: number): OpenNode => {
    if (token.type === '{' || token.type === '[') return container(name, start, token, depth);
    if (token.type.length === 1) throw unexpected(token, 'a value');
    const node = make.open(token.type as OpenNode['kind'], name, start, depth);
    node.value = decode(token);
    node.words = [node.value];
    node.valueStart = token.start;
    node.valueEnd = token.end;
    return make.close(node, token.end);
  };
  const container = (name: string, start: number, opening: Token, depth: number): OpenNode => {
    const isObject = opening.type === '{';
    const closing = isObject ? '}' : ']';
    const node = make.open(isObject ? 'object' : 'list', name, start, depth);
    node.valueStart = opening.start;
    let token = next();
    while (token.type !== closing) {
      if (isObject) {
        if (token.type !== 'string') throw unexpected(token, 'a member name in quotes');
        const colon = next();
        if (colon.type !== ':') throw unexpected(colon, 'a colon');
        node.children.push(value(decode(token), token.start, next(), depth + 1));
      } else node.children.push(value('', token.start, token, depth + 1));
      token = next();
      if (token.type === ',') {
        token = next();
        if (token.type === closing) throw unexpected(token, 'a value after the comma');
      } else if (token.type !== closing) throw unexpected(token, `a comma or ${closing}`);
    }
    node.valueEnd = token.end;
    return make.close(node, token.end);
  };

  const first = next();
  const top = value('', first.start, first, 0);
  if (text.slice(at).trim() !== '') {
    throw make.refuse(
      'dialects/malformed',
      'There is more text after the end of the JSON value.',
      at + text.slice(at).search(/\S/),
    );
  }
  const root = top.kind === 'object' || top.kind === 'list' ? top : make.open('root', '', 0);
  if (root !== top) root.children.push(top);
  return { format: 'json', source, root: root === top ? root : make.close(root, text.length) };
}
