/** A word of a statement, quotes removed, with its raw span. */
export interface Word {
  readonly text: string;
  readonly start: number;
  readonly end: number;
}

/**
 * Where the quoted text at `at` ends, or 0 where none stands there. A backslash escapes the quote and itself. A quote
 * that is not closed is an ordinary character: a single one must close on its line, a double one within `limit`.
 */
export function endOfQuoted(text: string, at: number, limit: number): number {
  const quote = text.charCodeAt(at);
  if (quote !== DOUBLE && quote !== SINGLE) return 0;
  for (let i = at + 1; i < limit; i++) {
    const code = text.charCodeAt(i);
    if (code === BACKSLASH) i++;
    else if (code === quote) return i + 1;
    else if (quote === SINGLE && code === NEWLINE) return 0;
  }
  return 0;
}

/** What a quoted text says. */
export function unquoted(text: string, start: number, end: number): string {
  return text.slice(start + 1, end - 1).replace(/\\(["'\\])/g, '$1');
}

/** Where the word of at least one character at `at` ends: at a blank, at a character that `stops`, or at `limit`. */
export function endOfWord(
  text: string,
  at: number,
  limit: number,
  stops: (code: number) => boolean = () => false,
): number {
  let end = at;
  while (end < limit) {
    const code = text.charCodeAt(end);
    if (isBlank(code) || stops(code)) break;
    end++;
  }
  return Math.max(end, at + 1);
}

/** The words between two offsets. */
export function wordsBetween(text: string, start: number, end: number): Word[] {
  const words: Word[] = [];
  for (let at = start; at < end; ) {
    if (isBlank(text.charCodeAt(at))) at++;
    else {
      const quoted = endOfQuoted(text, at, end);
      const wordEnd = quoted || endOfWord(text, at, end);
      const said = quoted > 0 ? unquoted(text, at, quoted) : text.slice(at, wordEnd);
      words.push({ text: said, start: at, end: wordEnd });
      at = wordEnd;
    }
  }
  return words;
}

/** Space, tab, line feed, vertical tab, form feed or carriage return. */
export function isBlank(code: number): boolean {
  return code === 32 || (code >= 9 && code <= 13);
}

const DOUBLE = 34;
const SINGLE = 39;
const BACKSLASH = 92;
const NEWLINE = 10;
