import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import type { TuckpointError } from '#core/errors';
import { writeDurably } from './durable.ts';
import type { Entry, NewEntry } from './entry.ts';
import { archiveError } from './errors.ts';
import type { ArchiveKey, Sealer } from './key.ts';
import { NO_HASH, readSegment, segmentName, segmentSpan, writeSegment } from './segment.ts';

/** The folder of the manifest's segments. */
export const MANIFEST = 'manifest';

/** What is wrong with the manifest: a segment that cannot be read, or a place where the chain does not hold. */
export interface ManifestFault {
  readonly first: number;
  readonly last: number;
  readonly why: string;
}

/**
 * The manifest as far as this process has read it. `refresh` reads what other processes have added; `append` is
 * called under the writer lock only.
 */
export class Manifest {
  readonly #folder: string;
  readonly #key: ArchiveKey;
  readonly #sealing: Sealer;
  #last = 0;
  #hash = NO_HASH;
  readonly faults: ManifestFault[] = [];

  constructor(archive: string, key: ArchiveKey, sealing: Sealer) {
    this.#folder = path.join(archive, MANIFEST);
    this.#key = key;
    this.#sealing = sealing;
  }

  /** Number of the last line known. */
  get last(): number {
    return this.#last;
  }

  /** The chain's hash after that line, hex. */
  get hash(): string {
    return this.#hash;
  }

  /** Segments that begin after the last line known, in order; where two overlap, the longer. */
  async #news(): Promise<{ first: number; last: number; name: string }[]> {
    const found = (await readdir(this.#folder)).flatMap((name) => {
      const span = segmentSpan(name);
      return span === null || span.last <= this.#last ? [] : [{ ...span, name }];
    });
    found.sort((a, b) => a.first - b.first || b.last - a.last);
    const chosen: typeof found = [];
    for (const segment of found) if (segment.first > (chosen.at(-1)?.last ?? 0)) chosen.push(segment);
    return chosen;
  }

  /** Reads the lines added since. Damaged segments go to `faults`; reading goes on behind them. */
  async refresh(): Promise<Entry[]> {
    const entries: Entry[] = [];
    for (const { first, last, name } of await this.#news()) {
      const file = path.join(this.#folder, name);
      try {
        const bytes = await readFile(file);
        const segment = await readSegment(
          file,
          { first, last },
          bytes,
          this.#sealing,
          new Set([this.#key.verifying]),
        );
        // A segment merged from lines partly known continues the chain from its own start.
        if (first === this.#last + 1 && segment.seal.previous !== this.#hash && !this.#brokenAt(first - 1))
          this.faults.push({ first, last, why: 'It does not continue the lines before it.' });
        if (first > this.#last + 1 && !this.#brokenAt(first - 1))
          this.faults.push({ first: this.#last + 1, last: first - 1, why: 'These lines are missing.' });
        entries.push(...segment.entries.filter((entry) => entry.seq > this.#last));
        this.#hash = segment.seal.hash;
      } catch (cause) {
        if ((cause as { code?: string }).code === 'archive/wrong-key') throw cause;
        this.faults.push({ first, last, why: (cause as TuckpointError).message });
      }
      this.#last = last;
    }
    return entries;
  }

  #brokenAt(seq: number): boolean {
    return this.faults.some((fault) => fault.first <= seq && seq <= fault.last);
  }

  /**
   * Adds lines durably, as one segment: all of them or none. Returns them with their places. The caller holds the
   * writer lock and has refreshed.
   */
  async append(news: readonly NewEntry[], stored: string): Promise<Entry[]> {
    const entries = news.map((entry, i) => ({ seq: this.#last + 1 + i, stored, ...entry }) as Entry);
    const last = this.#last + entries.length;
    const lines = entries.map((entry) => JSON.stringify(entry));
    const { bytes, seal } = await writeSegment(lines, last, this.#hash, this.#key, this.#sealing);
    const file = path.join(this.#folder, segmentName(this.#last + 1, last));
    await writeDurably(file, bytes);
    if (Buffer.compare(await readFile(file), bytes) !== 0)
      throw archiveError('archive/write-failed', 'What was written does not read back the same.', {
        file,
        advice: 'Check the disk.',
      });
    this.#last = last;
    this.#hash = seal.hash;
    return entries;
  }
}
