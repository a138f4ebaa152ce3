import { closeSync, constants, openSync, readdirSync, readFileSync, writeSync } from 'node:fs';
import { readFile, unlink } from 'node:fs/promises';
import path from 'node:path';
import type { TuckpointError } from '#core/errors';
import { TIGHT } from './compressor.ts';
import { publish, stage, syncFolder, unstage } from './durable.ts';
import type { Entry, NewEntry } from './entry.ts';
import { archiveError } from './errors.ts';
import { type Head, headText, readHead } from './head.ts';
import type { ArchiveKey, Sealer } from './key.ts';
import {
  chained,
  NO_HASH,
  readSegment,
  type Segment,
  type Span,
  segmentName,
  segmentSpan,
  writeSegment,
} from './segment.ts';

/** The folder of the manifest's segments. */
export const MANIFEST = 'manifest';

/** A segment with this many lines is left as it is. */
const LONG = 4096;
/** Whenever so many lines have come, the shortest segments are merged into one; and all short ones at every LONG. */
const MANY = 64;

/** What is wrong with the manifest: lines FIRST to LAST that cannot be read, or are not those that were written. */
export interface ManifestFault extends Span {
  readonly why: string;
}

/**
 * The manifest as far as this process has read it. `refresh` reads what other processes have added; `append` and
 * `merge` are called under the writer lock only.
 */
export class Manifest {
  readonly #archive: string;
  readonly #folder: string;
  readonly #key: ArchiveKey;
  readonly #sealing: Sealer;
  /** Keys (hex) whose signatures hold. */
  readonly trusted: ReadonlySet<string>;
  #last = 0;
  #hash = NO_HASH;
  #wrongKey: TuckpointError | undefined;
  readonly faults: ManifestFault[] = [];

  constructor(archive: string, key: ArchiveKey, sealing: Sealer) {
    this.#archive = archive;
    this.#folder = path.join(archive, MANIFEST);
    this.#key = key;
    this.#sealing = sealing;
    this.trusted = new Set([key.verifying, ...key.older.map((older) => older.verifying)]);
  }

  /** Number of the last line known. */
  get last(): number {
    return this.#last;
  }

  /** The chain's hash after that line, hex. */
  get hash(): string {
    return this.#hash;
  }

  /** All segments in order; where two hold the same lines (a merge was interrupted), the longer. */
  async segments(): Promise<(Span & { name: string })[]> {
    return this.#look().chosen;
  }

  #look() {
    // Small and in memory: handing it to another thread and back takes longer than doing it.
    const found = readdirSync(this.#folder).flatMap((name) => {
      const span = segmentSpan(name);
      return span === null ? [] : [{ ...span, name }];
    });
    found.sort((a, b) => a.first - b.first || b.last - a.last);
    const chosen: typeof found = [];
    const covered: { name: string; by: (typeof found)[number] }[] = [];
    for (const segment of found) {
      const before = chosen.at(-1);
      if (segment.last > (before?.last ?? 0)) chosen.push(segment);
      else covered.push({ name: segment.name, by: before! });
    }
    return { chosen, covered };
  }

  /** Reads one segment. Throws `archive/damaged`, `archive/wrong-key`; ENOENT as it is. */
  async read(segment: Span & { name: string }): Promise<Segment> {
    const file = path.join(this.#folder, segment.name);
    return readSegment(file, segment, await readFile(file), this.#sealing, this.trusted);
  }

  /**
   * Reads the lines added since and hands them to `take`, one at a time. Damaged segments go to `faults`; reading goes on
   * behind them.
   */
  async refresh(take: (entry: Entry) => void): Promise<void> {
    for (let again = 0; ; again += 1) {
      try {
        for (const segment of await this.segments())
          if (segment.last > this.#last) await this.#next(segment, take);
        if (this.#wrongKey !== undefined && this.#hash === NO_HASH) throw this.#wrongKey;
        return;
      } catch (cause) {
        // Another process merged segments between our looking and our reading.
        if ((cause as NodeJS.ErrnoException).code !== 'ENOENT' || again === 10) throw cause;
      }
    }
  }

  async #next(segment: Span & { name: string }, take: (entry: Entry) => void): Promise<void> {
    const { first, last } = segment;
    const from = this.#last + 1;
    try {
      const { seal, lines, entries } = await this.read(segment);
      if (first > from) this.#fault(from, first - 1, 'These lines are missing.');
      const before =
        from > first
          ? lines()
              .slice(0, from - first)
              .reduce(chained, seal.previous)
          : seal.previous;
      if (first <= from && before !== this.#hash)
        this.#fault(from, last, 'They do not continue the lines before them.');
      // A line is taken before the next is read: all of them in memory would be many times the index.
      for (const entry of entries()) {
        if (entry.seq < from) continue;
        take(entry);
        this.#last = entry.seq;
      }
      this.#hash = seal.hash;
    } catch (cause) {
      const { code, message } = cause as TuckpointError;
      if (code === 'ENOENT') throw cause;
      // One changed bit can look like that too: only an archive of which no line opens has another key.
      if (code === 'archive/wrong-key') this.#wrongKey ??= cause as TuckpointError;
      this.#fault(this.#last + 1, last, message);
    }
    this.#last = last;
  }

  /** A chain that cannot hold because of lines known to be bad just before is no second fault. */
  #fault(first: number, last: number, why: string): void {
    const before = this.faults.at(-1);
    if (before !== undefined && before.last >= first - 1 && why.startsWith('They do not')) return;
    this.faults.push({ first, last, why });
  }

  /** Reads every segment known again from the disk: what was damaged since it was first read. */
  async recheck(): Promise<ManifestFault[]> {
    const faults: ManifestFault[] = [];
    let hash = NO_HASH;
    let line = 0;
    for (const segment of await this.segments()) {
      const { first, last } = segment;
      const bad = this.faults.some((fault) => fault.first <= last && first <= fault.last);
      if (first > line + 1 && !this.faults.some((fault) => fault.first <= line + 1 && line + 1 <= fault.last))
        faults.push({ first: line + 1, last: first - 1, why: 'These lines are missing.' });
      try {
        const { seal, entries } = await this.read(segment);
        for (const _ of entries()); // each line is read, and let go
        if (!bad && first === line + 1 && hash !== '' && seal.previous !== hash)
          faults.push({ first, last, why: 'They do not continue the lines before them.' });
        hash = seal.hash;
      } catch (cause) {
        if (!bad) faults.push({ first, last, why: (cause as TuckpointError).message });
        hash = '';
      }
      line = last;
    }
    if (line < this.#last)
      faults.push({ first: line + 1, last: this.#last, why: 'These lines are missing.' });
    return faults;
  }

  /**
   * Compares with the highest line ever noted in a head (in the archive, and in further files given): a manifest
   * that ends before it, or has another line there, was cut or put back to an earlier state.
   */
  async compareHeads(files: readonly string[]): Promise<ManifestFault[]> {
    const faults: ManifestFault[] = [];
    for (const file of [path.join(this.#archive, 'head.json'), ...files]) {
      const head = await readHead(file, this.trusted);
      if (head === null) continue;
      if (head.last > this.#last)
        faults.push({ first: this.#last + 1, last: head.last, why: `They are gone: ${file} knows of them.` });
      else if ((await this.hashAt(head.last)) !== head.hash)
        faults.push({ first: head.last, last: head.last, why: `It is not the line that ${file} knows of.` });
    }
    return faults;
  }

  /** The chain's hash after a line, hex; null when that line is not there. */
  async hashAt(line: number): Promise<string | null> {
    if (line === this.#last) return this.#hash;
    const segment = (await this.segments()).find((one) => one.first <= line && line <= one.last);
    if (segment === undefined) return null;
    const { seal, lines } = await this.read(segment);
    return lines()
      .slice(0, line - segment.first + 1)
      .reduce(chained, seal.previous);
  }

  /**
   * Adds lines durably, as one segment: all of them or none, and not before `durable` is fulfilled. Returns them with
   * their places. The caller holds the writer lock and has refreshed.
   */
  async append(
    news: readonly NewEntry[],
    stored: string,
    heads: readonly string[] = [],
    durable?: Promise<void>,
  ): Promise<Entry[]> {
    const entries = news.map((entry, i) => ({ seq: this.#last + 1 + i, stored, ...entry }) as Entry);
    const before = this.#last;
    const last = before + entries.length;
    const lines = entries.map((entry) => JSON.stringify(entry));
    await this.#write(lines, before + 1, this.#hash, { durable });
    this.#last = last;
    this.#hash = lines.reduce(chained, this.#hash);
    this.#noteHead(heads);
    // The lines are stored: that merging fails (a full disk) is no failure of theirs. It comes again.
    for (const length of [MANY, LONG])
      if (Math.floor(last / length) > Math.floor(before / length))
        await this.merge(2, length).catch(() => undefined);
    return entries;
  }

  /** Does this line stand on the disk? */
  async holds(line: number): Promise<boolean> {
    return (await this.segments()).some((segment) => segment.first <= line && line <= segment.last);
  }

  async #write(
    lines: readonly string[],
    first: number,
    previous: string,
    { level, durable }: { readonly level?: number; readonly durable?: Promise<void> | undefined },
  ): Promise<void> {
    const last = first + lines.length - 1;
    const bytes = await writeSegment(lines, last, previous, this.#key, this.#sealing, level);
    const file = path.join(this.#folder, segmentName(first, last));
    await stage(file, bytes);
    await durable?.catch(async (cause) => {
      await unstage(file);
      throw cause;
    });
    await publish([file], async () => {
      if (Buffer.compare(readFileSync(file), bytes) !== 0)
        throw archiveError('archive/write-failed', 'What was written does not read back the same.', {
          file,
          advice: 'Check the disk.',
        });
    });
  }

  /**
   * Notes the last line beside the manifest. Not synced: a head may lag behind, it must never run ahead. Written over
   * in place, for renaming one file over another makes some file systems write it out there and then.
   */
  #noteHead(files: readonly string[]): void {
    const head: Head = { last: this.#last, hash: this.#hash };
    const text = headText(head, this.#key);
    for (const file of [path.join(this.#archive, 'head.json'), ...files])
      try {
        const handle = openSync(file, constants.O_WRONLY | constants.O_CREAT, 0o600);
        try {
          writeSync(handle, text, 0);
        } finally {
          closeSync(handle);
        }
      } catch {
        // A full disk, or a witness that is out of reach: the head then lags behind.
      }
  }

  /** Merges the segments at the end with fewer lines than `below` into one, when there are at least `atLeast` of them. */
  async merge(atLeast: number, below = LONG): Promise<void> {
    const { chosen: segments, covered } = this.#look();
    for (const { name, by } of covered)
      if ((await this.read(by).catch(() => null)) !== null) await unlink(path.join(this.#folder, name));
    const from = segments.findLastIndex((one) => one.last - one.first + 1 >= below) + 1;
    const short = segments.slice(from);
    if (short.length < atLeast) return;
    const read: Segment[] = [];
    for (const segment of short) {
      // Damaged, or not in one chain: leave all as it is, for "archive verify" to tell.
      const one = await this.read(segment).catch(() => null);
      if (one === null || (read.length > 0 && one.seal.previous !== read.at(-1)!.seal.hash)) return;
      read.push(one);
    }
    const lines = read.flatMap((one) => one.lines());
    const first = short[0]!.first;
    await this.#write(lines, first, read[0]!.seal.previous, { level: TIGHT });
    for (const { name } of short) await unlink(path.join(this.#folder, name));
    await syncFolder(this.#folder);
  }

  /** Writes every segment again under the present key, unless `isCurrent` says it is. Lines stay as they are. */
  async rewrap(isCurrent: (bytes: Uint8Array) => Promise<boolean>): Promise<void> {
    for (const segment of await this.segments()) {
      if (await isCurrent(await readFile(path.join(this.#folder, segment.name)))) continue;
      const read = await this.read(segment).catch(() => null);
      if (read === null) continue;
      await this.#write(read.lines(), segment.first, read.seal.previous, { level: TIGHT });
    }
  }
}
