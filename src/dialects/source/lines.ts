import type { SourceFile, Span } from '#core/config';

/** Turns offsets into spans with line numbers, by bisection over the line starts from where it last was. */
export class Lines {
  readonly file: string;
  readonly text: string;
  /** Offsets at which lines start, ascending; the first is 0. */
  readonly starts: readonly number[];
  private last = 0;

  constructor(file: SourceFile) {
    this.file = file.name;
    this.text = file.text;
    this.starts = startsOf(file);
  }

  /** The line of an offset, from 1. */
  lineAt(offset: number): number {
    const { starts, last } = this;
    // Readers go through a text from front to back: the answer is mostly this line or one of the next.
    let low = starts[last]! <= offset ? last : 0;
    let high = low === last ? last + 1 : last;
    while (high < starts.length && starts[high]! <= offset) {
      low = high;
      high += high - last + 1;
    }
    high = Math.min(high, starts.length) - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (starts[middle]! <= offset) low = middle;
      else high = middle - 1;
    }
    this.last = low;
    return low + 1;
  }

  span(start: number, end: number): Span {
    return {
      file: this.file,
      line: this.lineAt(start),
      endLine: this.lineAt(Math.max(start, end - 1)),
      start,
      end,
    };
  }
}

/** Several readers look at one file: where its lines begin is found once. */
const known = new WeakMap<SourceFile, readonly number[]>();

function startsOf(file: SourceFile): readonly number[] {
  const found = known.get(file);
  if (found !== undefined) return found;
  const starts = [0];
  for (let at = file.text.indexOf('\n'); at >= 0; at = file.text.indexOf('\n', at + 1)) starts.push(at + 1);
  known.set(file, starts);
  return starts;
}

/** A text as messages show it, with all of it beside where that is not all. */
export function excerpt(text: string): { readonly text: string; readonly whole?: string } {
  const short = shorten(text);
  return short.endsWith('…') ? { text: short, whole: text } : { text: short };
}

/** Text in one line of at most `length` characters, for messages and opaque parts. */
export function shorten(text: string, length = 200): string {
  const head = text.slice(0, length * 4);
  // Most texts are one tidy line already.
  const flat = UNTIDY.test(head) ? head.replace(/\s+/g, ' ').trim() : head;
  return flat.length > length || text.length > head.length ? `${flat.slice(0, length - 1)}…` : flat;
}

const UNTIDY = /[^\S ]| {2}|^ | $/;
