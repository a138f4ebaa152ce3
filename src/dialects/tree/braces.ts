import type { Lines } from '#dialects/source';
import { NodeMaker, type OpenNode, type Tree } from './node.ts';

import { isBlank, type Word, wordAt } from './words.ts';

type Lexeme =
  | { readonly type: 'word'; readonly word: Word }
  | { readonly type: '{' | '}' | ';' | 'newline' | 'end'; readonly at: number };

/** Steps through words, braces, semicolons and line ends; skips comments (`#`, `//` at a word's start, slash-star). */
class Lexer {
  at: number;
  readonly #text: string;

  constructor(text: string) {
    this.#text = text;
    this.at = text.startsWith('\ufeff') ? 1 : 0;
  }

  next(): Lexeme {
    const text = this.#text;
    for (;;) {
      const at = this.at;
      const c = text[at];
      if (c === undefined) return { type: 'end', at };
      if (c === '\n') return { type: 'newline', at: this.at++ };
      if (isBlank(c)) this.at++;
      else if (c === '#' || (c === '/' && text[at + 1] === '/')) {
        const end = text.indexOf('\n', at);
        this.at = end === -1 ? text.length : end;
      } else if (c === '/' && text[at + 1] === '*') {
        const end = text.indexOf('*/', at + 2);
        this.at = end === -1 ? text.length : end + 2;
      } else if (c === '{' || c === '}' || c === ';') return { type: c, at: this.at++ };
      else {
        const word = wordAt(text, at, text.length, '{};');
        this.at = word.end;
        return { type: 'word', word };
      }
    }
  }
}

/** Do semicolons end statements here, or line ends? Decided on the first part of the text. */
export function usesSemicolons(text: string): boolean {
  const lexer = new Lexer(text.slice(0, 200_000));
  let semicolons = 0;
  let bareLines = 0;
  let last: Lexeme['type'] = 'newline';
  for (let lexeme = lexer.next(); lexeme.type !== 'end'; lexeme = lexer.next()) {
    if (lexeme.type === ';') semicolons++;
    if (lexeme.type === 'newline' && last === 'word') bareLines++;
    last = lexeme.type;
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
  let words: Word[] = [];
  /** A statement ended by a line end: a brace on a later line still makes it a block. */
  let pending: OpenNode | null = null;

  const statement = (start: number, end: number): OpenNode => {
    const node = make.open('statement', words[0]?.text ?? '', start, open.length);
    if (words.length > 1) {
      node.words = words.slice(1).map((w) => w.text);
      node.value = node.words.join(' ');
      node.valueStart = words[1]!.start;
      node.valueEnd = words.at(-1)!.end;
    }
    words = [];
    open.at(-1)!.children.push(node);
    return make.close(node, end);
  };

  for (let lexeme = lexer.next(); ; lexeme = lexer.next()) {
    if (lexeme.type === 'word') {
      pending = null;
      words.push(lexeme.word);
      continue;
    }
    const { at } = lexeme;
    if (lexeme.type === 'newline') {
      if (!bySemicolon && words.length > 0) pending = statement(words[0]!.start, words.at(-1)!.end);
      continue;
    }
    if (lexeme.type === '{') {
      const node =
        words.length === 0 && pending !== null ? pending : statement(words[0]?.start ?? at, at + 1);
      open.push(node);
      pending = null;
      continue;
    }
    if (words.length > 0) statement(words[0]!.start, lexeme.type === ';' ? at + 1 : words.at(-1)!.end);
    pending = null;
    if (lexeme.type === '}') {
      if (open.length === 1)
        throw make.refuse('dialects/malformed', 'This closing brace has no opening brace.', at);
      make.close(open.pop()!, at + 1);
    } else if (lexeme.type === 'end') break;
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
  return { format: 'braces', source, root: make.close(root, text.length) };
}
