import { captureId, lineIn } from './capture-id.ts';
import type { CaptureRecord } from './port.ts';

/** What is known of a capture, but for its device and files. */
export type Taken = Pick<CaptureRecord, 'id' | 'at' | 'source' | 'release' | 'slot' | 'run'>;
/** Of this there are few that differ. */
type Circumstances = Omit<Taken, 'id' | 'at'>;

/**
 * Captures by their lines in the manifest. There may be a hundred thousand of them, of which little more than the time and
 * the holder of the bytes differs: those are kept as numbers, 16 bytes a capture, and written out when asked for.
 */
export class Rows<Holder> {
  /** By line. A place in `#holders`; 0: there is no capture. */
  #holderAt = new Uint32Array(1024);
  #instantAt = new Float64Array(1024);
  #circumstancesAt = new Uint32Array(1024);
  #end = 1;
  #size = 0;
  readonly #holders: (Holder | undefined)[] = [undefined];
  readonly #placeOf = new Map<Holder, number>();
  readonly #circumstances: Circumstances[] = [];
  readonly #placeOfCircumstances = new Map<string, number>();
  /** Ids and times that are not what the numbers would be written as. */
  readonly #ids = new Map<number, string>();
  readonly #times = new Map<number, string>();
  readonly #lines = new Map<string, number>();

  /** How many captures there are. */
  get size(): number {
    return this.#size;
  }

  add(line: number, { id, at, source, release, slot, run }: Taken, holder: Holder): void {
    this.#makeRoom(line);
    const instant = Date.parse(at);
    this.#holderAt[line] = this.#placeOfHolder(holder);
    this.#instantAt[line] = instant;
    this.#circumstancesAt[line] = this.#placeOfThese({ source, release, slot, run });
    if (Number.isNaN(instant) || new Date(instant).toISOString() !== at) this.#times.set(line, at);
    if (Number.isNaN(instant) || captureId(instant, line) !== id) {
      this.#ids.set(line, id);
      this.#lines.set(id, line);
    }
    this.#end = Math.max(this.#end, line + 1);
    this.#size += 1;
  }

  remove(line: number): void {
    this.#lines.delete(this.id(line));
    this.#ids.delete(line);
    this.#times.delete(line);
    this.#holderAt[line] = 0;
    this.#size -= 1;
  }

  #makeRoom(line: number): void {
    if (line < this.#holderAt.length) return;
    const length = Math.max(line + 1, Math.ceil(this.#holderAt.length * 1.5));
    const grown = <T extends Uint32Array | Float64Array>(from: T, to: T): T => {
      to.set(from);
      return to;
    };
    this.#holderAt = grown(this.#holderAt, new Uint32Array(length));
    this.#instantAt = grown(this.#instantAt, new Float64Array(length));
    this.#circumstancesAt = grown(this.#circumstancesAt, new Uint32Array(length));
  }

  #placeOfHolder(holder: Holder): number {
    const known = this.#placeOf.get(holder);
    if (known !== undefined) return known;
    this.#placeOf.set(holder, this.#holders.length);
    return this.#holders.push(holder) - 1;
  }

  #placeOfThese(these: Circumstances): number {
    const key = JSON.stringify([these.source, these.release, these.slot, these.run]);
    const known = this.#placeOfCircumstances.get(key);
    if (known !== undefined) return known;
    this.#placeOfCircumstances.set(key, this.#circumstances.length);
    return this.#circumstances.push(these) - 1;
  }

  /** The line of a capture, or undefined when there is none of this id. */
  lineOf(id: string): number | undefined {
    const line = this.#lines.get(id) ?? lineIn(id);
    return this.holder(line) !== undefined && this.id(line) === id ? line : undefined;
  }

  /** Who has the bytes of the capture on this line; undefined: there is no capture. */
  holder(line: number): Holder | undefined {
    return this.#holders[this.#holderAt[line] ?? 0];
  }

  /** For sorting: by the time they were taken, then by id. */
  compare(a: number, b: number): number {
    const earlier = this.#instantAt[a]! - this.#instantAt[b]!;
    return earlier !== 0 ? earlier : this.id(a) < this.id(b) ? -1 : 1;
  }

  id(line: number): string {
    return this.#ids.get(line) ?? captureId(this.#instantAt[line]!, line);
  }

  taken(line: number): Taken {
    const at = this.#times.get(line) ?? new Date(this.#instantAt[line]!).toISOString();
    return { id: this.id(line), at, ...this.#circumstances[this.#circumstancesAt[line]!]! };
  }

  /** The lines of all captures, in order. */
  *lines(): Generator<number> {
    for (let line = 1; line < this.#end; line += 1) if (this.#holderAt[line] !== 0) yield line;
  }
}
