/** A word of a statement, quotes removed, with its raw span. */
export interface Word {
  readonly text: string;
  readonly start: number;
  readonly end: number;
}

/**
 * Reads one word at `at`: a quoted text (backslash escapes the quote and itself), or characters up to a blank or one
 * of `stops`. A quote that is not closed is an ordinary character: a single one must close on its line, a double
 * one within `limit`.
 */
export function wordAt(text: string, at: number, limit: number, stops: string): Word {
  const quote = text[at];
  if (quote === '"' || quote === "'") {
    for (let i = at + 1; i < limit; i++) {
      const c = text[i];
      if (c === '\\') i++;
      else if (c === quote)
        return { text: text.slice(at + 1, i).replace(/\\(["'\\])/g, '$1'), start: at, end: i + 1 };
      else if (quote === "'" && c === '\n') break;
    }
  }
  let end = at;
  while (end < limit && !isBlank(text[end]!) && !stops.includes(text[end]!)) end++;
  if (end === at) end++;
  return { text: text.slice(at, end), start: at, end };
}

/** The words between two offsets. */
export function wordsBetween(text: string, start: number, end: number): Word[] {
  const words: Word[] = [];
  for (let at = start; at < end; ) {
    if (isBlank(text[at]!)) at++;
    else {
      const word = wordAt(text, at, end, '');
      words.push(word);
      at = word.end;
    }
  }
  return words;
}

export function isBlank(c: string): boolean {
  return c === ' ' || c === '\t' || c === '\r' || c === '\n' || c === '\f' || c === '\v';
}
