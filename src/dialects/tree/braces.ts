import { type Lines, Words } from '#dialects/source';
import { NodeMaker, type OpenNode, type Tree } from './node.ts';

import { endOfQuoted, endOfWord, isBlank, unquoted } from './words.ts';

type Mark = '{' | '}' | ';' | 'newline' | 'end';

/**
 * Steps through words, braces, semicolons and line ends; skips comments (`#`, `//` at a word's start, slash-star). One that
 * is never closed is no comment but a word: what follows it must not be lost.
 */
class Lexer {
  /** What `next` found stands from `start` to `end`. */
  start = 0;
  end: number;
  /** The word that `next` found, quotes removed. */
  word = '';
  readonly #text: string;
  readonly #words: Words;
  /** A comment that begins behind this is never closed. */
  readonly #lastComment: number;

  constructor(text: string) {
    this.#text = text;
    this.#words = new Words(text);
    this.#lastComment = text.lastIndexOf('*/') - 2;
    this.end = text.startsWith('\ufeff') ? 1 : 0;
  }

  next(): Mark | 'word' {
    const text = this.#text;
    for (;;) {
      const at = this.end;
      this.start = at;
      const c = text.charAt(at);
      if (c === '') return 'end';
      this.end = at + 1;
      if (c === '\n') return 'newline';
      if (c === '{' || c === '}' || c === ';') return c;
      if (isBlank(c.charCodeAt(0))) continue;
      if (c === '#' || (c === '/' && text[at + 1] === '/')) {
        const end = text.indexOf('\n', at);
        this.end = end === -1 ? text.length : end;
      } else {
        const end = c === '/' && text[at + 1] === '*' ? this.#endOfComment(at) : 0;
        if (end === 0) {
          this.#readWord(at);
          return 'word';
        }
        this.end = end;
      }
    }
  }

  /** Where the comment at `at` ends; 0 when it is never closed. */
  #endOfComment(at: number): number {
    if (at > this.#lastComment) return 0;
    return this.#text.indexOf('*/', at + 2) + 2;
  }

  #readWord(at: number): void {
    const text = this.#text;
    const quoted = endOfQuoted(text, at, text.length);
    this.end = quoted || endOfWord(text, at, text.length, isMark);
    this.word = quoted > 0 ? unquoted(text, at, quoted) : this.#words.of(at, this.end);
  }
}

const isMark = (code: number): boolean => code === 123 || code === 125 || code === 59;

/** Do semicolons end statements here, or line ends? Decided on the first part of the text. */
export function usesSemicolons(text: string): boolean {
  const lexer = new Lexer(text.slice(0, 200_000));
  let semicolons = 0;
  let bareLines = 0;
  let last: ReturnType<Lexer['next']> = 'newline';
  for (let type = lexer.next(); type !== 'end'; type = lexer.next()) {
    if (type === ';') semicolons++;
    if (type === 'newline' && last === 'word') bareLines++;
    last = type;
  }
  return semicolons > 0 && semicolons >= bareLines;
}

/**
 * Reads statements of words with blocks in braces. Semicolons end statements if the text uses them, line ends
 * otherwise; both may end a statement of the second sort. Throws `dialects/malformed` when braces do not match.
 */
export function readBraces(source: Lines): Tree {
  const { text } = source;
  const make = new NodeMaker(source);
  const bySemicolon = usesSemicolons(text);
  const lexer = new Lexer(text);
  const root = make.open('root', '', 0);
  const open: OpenNode[] = [root];
  /** The children so far of the blocks that are open, the innermost last, and where those of each begin. */
  const held: OpenNode[] = [];
  const firsts: number[] = [];
  /** The words of the statement being read, and where the first begins, the second begins and the last ends. */
  const words: string[] = [];
  let first = 0;
  let second = 0;
  let last = 0;
  /** A statement ended by a line end: a brace on a later line still makes it a block. */
  let pending: OpenNode | null = null;

  const statement = (start: number, end: number): OpenNode => {
    const node = make.open('statement', words[0] ?? '', start, open.length);
    if (words.length > 1) {
      node.words = words.slice(1);
      node.value = node.words.join(' ');
      node.valueStart = second;
      node.valueEnd = last;
    }
    words.length = 0;
    held.push(node);
    return make.close(node, end);
  };

  for (let type = lexer.next(); ; type = lexer.next()) {
    const { start, end } = lexer;
    if (type === 'word') {
      pending = null;
      if (words.length === 0) first = start;
      if (words.length === 1) second = start;
      last = end;
      words.push(lexer.word);
      continue;
    }
    if (type === 'newline') {
      if (!bySemicolon && words.length > 0) pending = statement(first, last);
      continue;
    }
    if (type === '{') {
      const isPending = words.length === 0 && pending !== null;
      open.push(isPending ? pending! : statement(words.length > 0 ? first : start, end));
      firsts.push(held.length);
      pending = null;
      continue;
    }
    if (words.length > 0) statement(first, type === ';' ? end : last);
    pending = null;
    if (type === '}') {
      if (open.length === 1)
        throw make.refuse('dialects/malformed', 'This closing brace has no opening brace.', start);
      const node = make.close(open.pop()!, end);
      const first = firsts.pop()!;
      if (first < held.length) node.children = held.splice(first);
    } else if (type === 'end') break;
  }
  if (open.length > 1) {
    const { name, value, start } = open.at(-1)!;
    const title = value === null ? name : `${name} ${value}`;
    throw make.refuse(
      'dialects/malformed',
      `The block ${JSON.stringify(title.slice(0, 60))} is never closed.`,
      start,
      'The file may be truncated.',
    );
  }
  root.children = held;
  return { format: 'braces', source, root: make.close(root, text.length) };
}
