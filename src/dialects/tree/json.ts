import { type Lines, Words } from '#dialects/source';
import { NodeMaker, type OpenNode, quoted, type Tree } from './node.ts';

const TOKEN =
  /"[^"\\\u0000-\u001f]*(?:\\.[^"\\\u0000-\u001f]*)*"|-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?|true|false|null/y;

const MARKS: ReadonlySet<number> = new Set([...'{}[],:'].map((mark) => mark.charCodeAt(0)));

const QUOTE = 34;
const MINUS = 45;

const isDigit = (code: number): boolean => code >= 48 && code <= 57;

const isBlank = (code: number): boolean => code === 32 || code === 10 || code === 13 || code === 9;

/** Where a string without escapes ends, or 0 when it is another one, or none. */
function endOfPlainString(text: string, start: number): number {
  for (let at = start + 1; ; at++) {
    const code = text.charCodeAt(at);
    if (code === QUOTE) return at + 1;
    // Beyond the end there is no code, which is no more than a blank either.
    if (code === 92 || !(code >= 32)) return 0;
  }
}

/** Reads JSON text (RFC 8259). Members with the same name are all kept. Throws `dialects/malformed`, `dialects/too-deep`. */
export function readJson(source: Lines): Tree {
  const { text } = source;
  const make = new NodeMaker(source);
  const words = new Words(text);
  let at = text.startsWith('\ufeff') ? 1 : 0;
  /** The token read last: a mark, or `string`, `number` or `literal`, and where it stands; `at` is behind it. */
  let type = '';
  let from = at;
  /** Members and elements of what is still open, the innermost last. */
  const held: OpenNode[] = [];

  const next = (): string => {
    while (isBlank(text.charCodeAt(at))) at++;
    from = at;
    const code = text.charCodeAt(from);
    if (MARKS.has(code)) {
      at++;
      type = text[from]!;
    } else {
      at = (code === QUOTE && endOfPlainString(text, from)) || endOfToken();
      type = code === QUOTE ? 'string' : code === MINUS || isDigit(code) ? 'number' : 'literal';
    }
    return type;
  };
  const endOfToken = (): number => {
    TOKEN.lastIndex = at;
    if (TOKEN.test(text)) return TOKEN.lastIndex;
    const rest = text.slice(at).trimStart();
    // Nothing more, or a quoted text that never closes.
    if (rest === '' || /^"(?:[^"\\\n]|\\.)*\\?$/.test(rest))
      throw make.refuse(
        'dialects/malformed',
        'The JSON text ends before it is complete.',
        text.length,
        'The file may be truncated.',
      );
    throw make.refuse('dialects/malformed', `This is not JSON: ${quoted(rest)}.`, text.length - rest.length);
  };
  const decode = (): string => {
    if (type !== 'string') return words.of(from, at);
    const inside = words.of(from + 1, at - 1);
    if (!inside.includes('\\')) return inside;
    const raw = `"${inside}"`;
    try {
      return JSON.parse(raw) as string;
    } catch {
      throw make.refuse(
        'dialects/malformed',
        `The string ${quoted(raw)} has an escape that JSON does not know.`,
        from,
      );
    }
  };
  const unexpected = (wanted: string) =>
    make.refuse('dialects/malformed', `Expected ${wanted}, found ${quoted(text.slice(from, at))}.`, from);

  /** The value that begins with the token read last, of a member that begins at `start`. */
  const value = (name: string, start: number, depth: number): OpenNode => {
    if (type === '{' || type === '[') return container(name, start, depth);
    if (type.length === 1) throw unexpected('a value');
    const node = make.open(type as OpenNode['kind'], name, start, depth);
    node.value = decode();
    node.valueStart = from;
    node.valueEnd = at;
    return make.close(node, at);
  };
  const member = (depth: number): OpenNode => {
    if (type !== 'string') throw unexpected('a member name in quotes');
    const name = decode();
    const start = from;
    if (next() !== ':') throw unexpected('a colon');
    next();
    return value(name, start, depth);
  };
  const container = (name: string, start: number, depth: number): OpenNode => {
    const isObject = type === '{';
    const closing = isObject ? '}' : ']';
    const node = make.open(isObject ? 'object' : 'list', name, start, depth);
    node.valueStart = from;
    const first = held.length;
    next();
    while (type !== closing) {
      held.push(isObject ? member(depth + 1) : value('', from, depth + 1));
      if (next() === ',') {
        if (next() === closing) throw unexpected('a value after the comma');
      } else if (type !== closing) throw unexpected(`a comma or ${closing}`);
    }
    if (held.length > first) node.children = held.splice(first);
    node.valueEnd = at;
    return make.close(node, at);
  };

  next();
  const top = value('', from, 0);
  if (text.slice(at).trim() !== '') {
    throw make.refuse(
      'dialects/malformed',
      'There is more text after the end of the JSON value.',
      at + text.slice(at).search(/\S/),
    );
  }
  const root = top.kind === 'object' || top.kind === 'list' ? top : make.open('root', '', 0);
  if (root !== top) make.adopt(root, top);
  return { format: 'json', source, root: root === top ? root : make.close(root, text.length) };
}
