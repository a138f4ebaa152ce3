import { TuckpointError } from '#core/errors';
import type { Chain, Expression, Mention, Place } from '../netfilter/index.ts';
import { shorten, Words } from '../source/index.ts';
import { END, NEWLINE, QUOTED, type Tokens, WORD } from './tokens.ts';

/** Thrown inside the reader when a statement is not understood; it becomes an opaque part and never leaves the room. */
export class NotUnderstood extends Error {}

const DEEPEST = 64;

/** Variables set by `define`, with the scopes around. */
export class Scope {
  private readonly values = new Map<string, Expression>();
  private readonly outer: Scope | null;

  constructor(outer: Scope | null) {
    this.outer = outer;
  }

  set(name: string, value: Expression): void {
    this.values.set(name, value);
  }

  remove(name: string): void {
    this.values.delete(name);
  }

  get(name: string): Expression | undefined {
    return this.values.get(name) ?? this.outer?.get(name);
  }
}

/** A reading position in the tokens of one file. */
export class Cursor {
  at = 0;
  scope: Scope;
  /** Named things met since the caller last emptied it. */
  mentions: Mention[] = [];
  /** Chains without a name met since the caller last emptied it. */
  nameless: Chain[] = [];
  private depth = 0;
  readonly tokens: Tokens;
  private readonly text: string;
  private readonly kinds: Uint16Array;
  private readonly words: Words;

  constructor(tokens: Tokens, scope: Scope) {
    this.tokens = tokens;
    this.scope = scope;
    this.text = tokens.lines.text;
    this.kinds = tokens.kinds;
    this.words = new Words(this.text);
  }

  kind(ahead = 0): number {
    return this.at + ahead < this.tokens.count ? this.kinds[this.at + ahead]! : END;
  }

  /** The text of a token, quotes removed. */
  word(ahead = 0): string {
    const index = Math.min(this.at + ahead, this.tokens.count - 1);
    const start = this.tokens.starts[index]!;
    const end = this.tokens.ends[index]!;
    return this.kinds[index] === QUOTED ? this.words.of(start + 1, end - 1) : this.words.of(start, end);
  }

  /** Is the next token this bare word? */
  is(word: string, ahead = 0): boolean {
    if (this.kind(ahead) !== WORD) return false;
    const start = this.tokens.starts[this.at + ahead]!;
    return this.tokens.ends[this.at + ahead]! - start === word.length && this.text.startsWith(word, start);
  }

  isWord(ahead = 0): boolean {
    const kind = this.kind(ahead);
    return kind === WORD || kind === QUOTED;
  }

  accept(word: string): boolean {
    if (!this.is(word)) return false;
    this.at++;
    return true;
  }

  acceptKind(kind: number): boolean {
    if (this.kind() !== kind) return false;
    this.at++;
    return true;
  }

  /** The next word, whatever it says. */
  take(): string {
    if (!this.isWord()) throw new NotUnderstood(`a word was expected before ${this.found()}`);
    const word = this.word();
    this.at++;
    return word;
  }

  expect(word: string): void {
    if (!this.accept(word)) throw new NotUnderstood(`"${word}" was expected before ${this.found()}`);
  }

  expectKind(kind: number): void {
    if (!this.acceptKind(kind)) {
      throw new NotUnderstood(`"${String.fromCharCode(kind)}" was expected before ${this.found()}`);
    }
  }

  /** The next token as it should appear in a sentence. */
  found(): string {
    const kind = this.kind();
    return kind === NEWLINE
      ? 'the end of the line'
      : kind === END
        ? 'the end of the file'
        : `"${this.word()}"`;
  }

  skipNewlines(): void {
    while (this.kind() === NEWLINE) this.at++;
  }

  atStatementEnd(): boolean {
    const kind = this.kind();
    return kind === NEWLINE || kind === 125 || kind === END;
  }

  start(): number {
    return this.tokens.starts[Math.min(this.at, this.tokens.count - 1)]!;
  }

  /** End offset of the token before the position. */
  endOfLast(): number {
    return this.at === 0 ? 0 : this.tokens.ends[this.at - 1]!;
  }

  placeFrom(start: number): Place {
    return { file: this.tokens.lines.file, start, end: Math.max(start, this.endOfLast()) };
  }

  /** The text of a place in this file, as it is written. */
  sliceOf({ start, end }: Place): string {
    return this.text.slice(start, end);
  }

  textFrom(start: number): string {
    return shorten(this.text.slice(start, Math.max(start, this.endOfLast())));
  }

  mention(kind: Mention['kind'], name: string, start: number): void {
    this.mentions.push({ kind, name, start, end: this.endOfLast() });
  }

  /** Goes one level deeper, until `leave`. @throws TuckpointError `dialects/too-deep`. */
  enter(): void {
    if (++this.depth > DEEPEST) {
      throw new TuckpointError('dialects/too-deep', `Brackets are nested more than ${DEEPEST} deep.`, {
        place: { file: this.tokens.lines.file, line: this.tokens.lines.lineAt(this.start()) },
        advice: 'Check that the file is a ruleset and was transferred whole.',
      });
    }
  }

  leave(): void {
    this.depth--;
  }

  /** Moves behind the rest of this statement; braces inside it are skipped as a whole, without recursion. */
  skipStatement(): void {
    let depth = 0;
    for (;;) {
      const kind = this.kind();
      if (kind === END) return;
      if (kind === 123) depth++;
      else if (kind === 125) {
        if (depth === 0) return;
        depth--;
      } else if (kind === NEWLINE && depth === 0) return;
      this.at++;
    }
  }

  /** Moves behind a `{ … }` block. */
  skipBraces(): void {
    this.expectKind(123);
    this.skipInside();
    this.expectKind(125);
  }

  /** Moves to the brace that closes the block whose opening brace was just taken, or to the end of the file. */
  skipInside(): void {
    let depth = 0;
    for (; this.kind() !== END; this.at++) {
      const kind = this.kind();
      if (kind === 123) depth++;
      else if (kind === 125 && depth-- === 0) return;
    }
  }

  /** Where the reader stood, to come back to after something was not understood. */
  mark(): { at: number; depth: number } {
    return { at: this.at, depth: this.depth };
  }

  /** Restores nesting after an exception; the position may stay where reading stopped. */
  restoreDepth(mark: { depth: number }): void {
    this.depth = mark.depth;
  }
}
