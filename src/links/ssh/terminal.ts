/**
 * What a terminal shows of the bytes a device sends: enough of ECMA-48 and the ASCII controls to read lines as a person
 * would see them. Colours and other escape sequences vanish; carriage return, backspace and erase act on the line.
 */
export class Terminal {
  readonly #lines: string[] = [];
  #cells: Cell[] = [];
  #column = 0;
  #pending = '';

  /** Takes characters in any cutting: an escape sequence may be split between two calls. */
  write(text: string): void {
    let rest = this.#pending + text;
    this.#pending = '';
    while (rest !== '') {
      const sequence = ESCAPE.exec(rest);
      if (sequence !== null) {
        this.#erase(sequence[0]);
        rest = rest.slice(sequence[0].length);
      } else if (rest[0] === '\u001b' && rest.length < MAX_SEQUENCE) {
        this.#pending = rest;
        return;
      } else {
        const char = String.fromCodePoint(rest.codePointAt(0)!);
        this.#put(char);
        rest = rest.slice(char.length);
      }
    }
  }

  /** The finished lines so far. */
  get lines(): readonly string[] {
    return this.#lines;
  }

  /** The line that has no end yet: where prompts, questions and pagers stand. */
  get unfinished(): string {
    return shown(this.#cells);
  }

  /** Marks the unfinished line as not belonging to the output (a pager's line, which the device then wipes or leaves). */
  dropUnfinished(): void {
    for (const cell of this.#cells) cell.kind = 'dropped';
  }

  /** Forgets all lines; the unfinished one too. */
  clear(): void {
    this.#lines.length = 0;
    this.#cells = [];
    this.#column = 0;
  }

  #put(char: string): void {
    if (char === '\n') {
      // A line of which only a pager was seen was never a line of the output; a pager that was wiped left an empty one.
      const onlyDropped = this.#cells.length > 0 && this.#cells.every((cell) => cell.kind === 'dropped');
      if (!onlyDropped) this.#lines.push(shown(this.#cells));
      this.#cells = [];
      this.#column = 0;
    } else if (char === '\r') this.#column = 0;
    else if (char === '\b') this.#column = Math.max(0, this.#column - 1);
    else if (char >= ' ' || char === '\t') {
      while (this.#cells.length < this.#column) this.#cells.push({ char: ' ', kind: 'text' });
      const before = this.#cells[this.#column]?.kind ?? 'text';
      // Blanks over a pager's line wipe it: they are text only where text follows them.
      this.#cells[this.#column] = { char, kind: char === ' ' && before !== 'text' ? 'wiped' : 'text' };
      this.#column += 1;
    }
  }

  /** ECMA-48 EL: `CSI K`, `CSI 0 K` to the end of the line, `CSI 1 K` to the cursor, `CSI 2 K` the whole line. */
  #erase(sequence: string): void {
    const kind = /^\u001b\[([012]?)K$/u.exec(sequence)?.[1];
    if (kind === undefined) return;
    if (kind === '' || kind === '0') this.#cells.length = Math.min(this.#cells.length, this.#column);
    else if (kind === '2') this.#cells = [];
    else
      for (const cell of this.#cells.slice(0, this.#column))
        Object.assign(cell, { char: ' ', kind: 'wiped' });
  }
}

interface Cell {
  char: string;
  /** `dropped`: of a pager; `wiped`: a blank written over one. */
  kind: 'text' | 'dropped' | 'wiped';
}

function shown(cells: readonly Cell[]): string {
  const last = cells.findLastIndex((cell) => cell.kind === 'text');
  return cells
    .slice(0, last + 1)
    .filter((cell) => cell.kind !== 'dropped')
    .map((cell) => cell.char)
    .join('');
}

/** CSI, OSC (ended by BEL or ST), and two- or three-character escapes (ECMA-48 section 5). */
const ESCAPE = /^\u001b(?:\[[0-?]*[ -/]*[@-~]|\][^\u0007\u001b]*(?:\u0007|\u001b\\)|[ -/]+[0-~]|[0-Z\\^-~])/u;
const MAX_SEQUENCE = 4096;
