const SLOTS = 4096;

/**
 * Words of one text. A configuration says the same few words over and over: one seen lately comes back as the same string,
 * which is cheaper to make, to keep and to compare than a new one.
 */
export class Words {
  private readonly text: string;
  private readonly seen: string[] = new Array<string>(SLOTS).fill('');

  constructor(text: string) {
    this.text = text;
  }

  of(start: number, end: number): string {
    const { text, seen } = this;
    const length = end - start;
    if (length > LONGEST) return text.slice(start, end);
    let mixed = length;
    for (let at = start; at < end; at++) mixed = (mixed * 31 + text.charCodeAt(at)) | 0;
    const slot = (mixed ^ (mixed >>> 15)) & (SLOTS - 1);
    const known = seen[slot]!;
    if (known.length === length && text.startsWith(known, start)) return known;
    const word = text.slice(start, end);
    seen[slot] = word;
    return word;
  }
}

/** Longer ones are addresses and names, seldom the same again. */
const LONGEST = 24;
