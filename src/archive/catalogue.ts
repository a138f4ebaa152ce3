import { listingDigest } from './digest.ts';
import type { Container, Entry, EntryOf } from './entry.ts';
import type { CaptureRecord } from './port.ts';

type Taken = EntryOf<'capture'> | EntryOf<'same'>;

interface Held {
  readonly record: CaptureRecord;
  /** The capture that has the bytes: itself, or the earlier one it equals. */
  readonly holder: string;
}

/** What the manifest says, arranged for looking up. */
export class Catalogue {
  readonly #held = new Map<string, Held>();
  readonly #containers = new Map<string, Container>();
  readonly #byDevice = new Map<string, CaptureRecord[]>();
  /** device, then digest -> the capture that has the bytes. */
  readonly #holders = new Map<string, Map<string, string>>();

  /** Takes the next lines of the manifest, in order. */
  add(entries: readonly Entry[]): void {
    for (const entry of entries) if (entry.kind === 'capture' || entry.kind === 'same') this.#take(entry);
  }

  #take(entry: Taken): void {
    const holder = entry.kind === 'same' ? entry.as : entry.id;
    const files = entry.kind === 'same' ? this.#held.get(entry.as)?.record.files : entry.files;
    if (files === undefined) return; // the line it refers to is damaged: nothing is known of its files
    const { id, device, at, source, release, slot, run } = entry;
    const record = { id, device, at, source, release, slot, run, digest: listingDigest(files), files };
    this.#held.set(id, { record, holder });
    if (entry.kind === 'capture') this.#containers.set(id, entry.in);
    const list = this.#byDevice.get(device) ?? [];
    this.#byDevice.set(device, list);
    list.push(record);
    const holders = this.#holders.get(device) ?? new Map<string, string>();
    this.#holders.set(device, holders);
    holders.set(record.digest, holder);
  }

  record(id: string): CaptureRecord | undefined {
    return this.#held.get(id)?.record;
  }

  /** Where the bytes of a capture are. */
  container(id: string): Container | undefined {
    const held = this.#held.get(id);
    return held === undefined ? undefined : this.#containers.get(held.holder);
  }

  /** The capture of this device whose bytes have this digest. */
  holder(device: string, digest: string): string | undefined {
    return this.#holders.get(device)?.get(digest);
  }

  has(id: string): boolean {
    return this.#held.has(id);
  }

  /** Oldest first, by the time they were taken, then by id. */
  list(device?: string): CaptureRecord[] {
    const all =
      device === undefined ? [...this.#byDevice.values()].flat() : (this.#byDevice.get(device) ?? []);
    const instants = new Map(all.map((record) => [record, Date.parse(record.at)]));
    return [...all].sort((a, b) => instants.get(a)! - instants.get(b)! || (a.id < b.id ? -1 : 1));
  }
}
