import type { SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import { Lines } from '../source/index.ts';

/** Kinds of token; punctuation has its character code, pairs have the codes below. */
export const END = 0;
export const NEWLINE = 1;
export const WORD = 2;
export const QUOTED = 3;
export const NOT_EQUAL = 256;
export const EQUAL = 257;
export const AT_MOST = 258;
export const AT_LEAST = 259;
export const LEFT_SHIFT = 260;
export const RIGHT_SHIFT = 261;

const MOST_TOKENS = 24_000_000;

/** Signs of two characters, all of which begin with one of `!=<>`. */
const PAIRS: ReadonlyMap<string, number> = new Map([
  ['!=', NOT_EQUAL],
  ['==', EQUAL],
  ['<=', AT_MOST],
  ['>=', AT_LEAST],
  ['<<', LEFT_SHIFT],
  ['>>', RIGHT_SHIFT],
]);

// An address with colons: IPv6 (also with a dotted tail) or a hardware address. Two colons at least.
// Or a traffic class `1:bbf8`.
const COLONS =
  /(?:[0-9a-fA-F]{0,4}:){2,8}(?:\d+\.\d+\.\d+\.\d+|[0-9a-fA-F]{1,4})?|[0-9a-fA-F]{1,4}:[0-9a-fA-F]{1,4}(?!\w)/y;
/** Can COLONS match here? At most four hexadecimal digits, then a colon: cheaper to see than to try the pattern. */
function colonNear(text: string, at: number): boolean {
  for (let end = at; end <= at + 4; end++) {
    const code = text.charCodeAt(end);
    if (code === 58) return true;
    if (!isDigit(code) && !(code >= 97 && code <= 102) && !(code >= 65 && code <= 70)) return false;
  }
  return false;
}

const isLetter = (code: number): boolean =>
  (code >= 97 && code <= 122) || (code >= 65 && code <= 90) || code === 95;
const isDigit = (code: number): boolean => code >= 48 && code <= 57;

/**
 * The end of a name or number that begins at `at`. A dot belongs to it when a letter or digit follows; names may
 * hold `-` and `/` too and end in `*`. Character by character, since a pattern would need a stack for a long word.
 */
function endOfWord(text: string, at: number): number {
  const name = !isDigit(text.charCodeAt(at));
  let end = at + 1;
  for (; end < text.length; end++) {
    const code = text.charCodeAt(end);
    if (isLetter(code) || isDigit(code) || (name && (code === 45 || code === 47))) continue;
    if (code !== 46) break;
    const next = text.charCodeAt(end + 1);
    if (!isLetter(next) && !isDigit(next)) break;
  }
  if (name && text.charCodeAt(end) === 92 && text.charCodeAt(end + 1) === 42) return end + 2;
  return name && text.charCodeAt(end) === 42 ? end + 1 : end;
}

/** The tokens of one file, as parallel arrays: offsets into the text, nothing copied. */
export interface Tokens {
  readonly lines: Lines;
  readonly count: number;
  readonly kinds: Uint16Array;
  readonly starts: Int32Array;
  readonly ends: Int32Array;
  /** Rule handles from `# handle N` comments, by the index of the token that follows the comment. */
  readonly handles: ReadonlyMap<number, number>;
}

/**
 * Splits ruleset text into tokens. `;` and the end of a line are both NEWLINE; comments and joined lines vanish.
 * @throws TuckpointError `dialects/truncated` for a quote that does not end, `dialects/too-large`.
 */
export function tokenise(file: SourceFile): Tokens {
  const { text } = file;
  const lines = new Lines(file);
  let capacity = Math.max(64, text.length >> 2);
  let kinds = new Uint16Array(capacity);
  let starts = new Int32Array(capacity);
  let ends = new Int32Array(capacity);
  const handles = new Map<number, number>();
  let count = 0;
  const push = (kind: number, start: number, end: number): void => {
    if (count === capacity) {
      if (count > MOST_TOKENS) {
        throw new TuckpointError('dialects/too-large', 'The ruleset has too many words to be read.', {
          place: { file: file.name, line: lines.lineAt(start) },
          advice: 'Split it, or check that this is a ruleset.',
        });
      }
      capacity *= 2;
      const grown = new Uint16Array(capacity);
      grown.set(kinds);
      kinds = grown;
      const grownStarts = new Int32Array(capacity);
      grownStarts.set(starts);
      starts = grownStarts;
      const grownEnds = new Int32Array(capacity);
      grownEnds.set(ends);
      ends = grownEnds;
    }
    kinds[count] = kind;
    starts[count] = start;
    ends[count] = end;
    count++;
  };

  let at = text.charCodeAt(0) === 0xfeff ? 1 : 0;
  while (at < text.length) {
    const code = text.charCodeAt(at);
    if (code === 32 || code === 9 || code === 13) at++;
    else if (code === 10 || code === 59) push(NEWLINE, at, ++at);
    else if (code === 35) {
      const newline = text.indexOf('\n', at);
      const end = newline < 0 ? text.length : newline;
      const handle = /^#\s*handle (\d+)/.exec(text.slice(at, Math.min(end, at + 40)));
      if (handle !== null) handles.set(count, Number(handle[1]));
      at = end;
    } else if (code === 92 && /^\\\r?\n/.test(text.slice(at, at + 3))) at = text.indexOf('\n', at) + 1;
    else if (code === 34) {
      const end = text.indexOf('"', at + 1);
      const newline = text.indexOf('\n', at);
      if (end < 0 || (newline >= 0 && newline < end)) {
        throw new TuckpointError('dialects/truncated', 'A quoted text does not end on its line.', {
          place: { file: file.name, line: lines.lineAt(at) },
          advice: 'Check that the file was transferred whole.',
        });
      }
      push(QUOTED, at, end + 1);
      at = end + 1;
    } else {
      let end = at;
      const word = isDigit(code) || isLetter(code);
      if ((code === 58 || word) && colonNear(text, at)) {
        COLONS.lastIndex = at;
        if (COLONS.test(text)) {
          end = COLONS.lastIndex;
          // `::1: drop`: the last colon is no longer part of the address.
          if (text.charCodeAt(end - 1) === 58 && text.charCodeAt(end - 2) !== 58) end--;
        }
      }
      if (word) end = Math.max(end, endOfWord(text, at));
      if (end > at) {
        push(WORD, at, end);
        at = end;
      } else {
        const sign = code === 33 || (code >= 60 && code <= 62);
        const pair = sign ? PAIRS.get(text.slice(at, at + 2)) : undefined;
        if (pair !== undefined) push(pair, at, at + 2);
        else push(code < 256 ? code : 255, at, at + 1);
        at += pair === undefined ? 1 : 2;
      }
    }
  }
  push(NEWLINE, text.length, text.length);
  push(END, text.length, text.length);
  return { lines, count, kinds, starts, ends, handles };
}
