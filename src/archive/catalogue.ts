import { lineIn } from './capture-id.ts';
import { listingDigest } from './digest.ts';
import type { Container, Entry, EntryOf, Proof } from './entry.ts';
import type { CaptureRecord } from './port.ts';
import { Rows } from './rows.ts';

/** A file of the archive and what it holds. `raw` is the size of the tar inside a pack; null: a single capture. */
export interface Shelf {
  container: Container;
  raw: number | null;
  device: string;
  /** Captures whose bytes are in it, dead ones too. */
  ids: Set<string>;
}

/** A capture that has bytes of its own, and the captures that are equal to it. */
interface Holder {
  readonly id: string;
  readonly device: string;
  readonly files: CaptureRecord['files'];
  readonly digest: string;
  file: string;
  /** How many captures have its bytes, itself included while it is not deleted. */
  users: number;
}

interface Device {
  readonly name: string;
  /** Of its captures, those deleted since included. */
  readonly lines: number[];
  /** Digest -> the capture that has the bytes. */
  readonly byDigest: Map<string, Holder>;
}

/**
 * What the manifest says, arranged for looking up. It is the index: rebuilt from the manifest whenever it is opened, and
 * the one thing in memory that grows with the archive: by 24 bytes for a capture equal to an earlier one, by some 600 for
 * one with bytes of its own.
 */
export class Catalogue {
  readonly #rows = new Rows<Holder>();
  readonly #devices = new Map<string, Device>();
  readonly #holders = new Map<string, Holder>();
  readonly #shelves = new Map<string, Shelf>();
  readonly #names = new Map<string, string>();
  readonly #proven = new Map<string, Map<Proof, string>>();
  #provenAll: { readonly what: Proof; readonly when: string; readonly before: number }[] = [];
  /** What was once seen to be wrong with the manifest, and when. */
  readonly noticed: string[] = [];
  /** Files that lines have replaced or emptied: safe to remove. */
  readonly spent = new Set<string>();

  /** Takes the next line of the manifest; in order. */
  add(entry: Entry): void {
    switch (entry.kind) {
      case 'capture':
        this.#captured(entry);
        break;
      case 'same':
        this.#sameAgain(entry);
        break;
      case 'packed':
        this.#packed(entry);
        break;
      case 'rewrapped':
        this.#move(entry.from, entry.in);
        break;
      case 'deleted':
        for (const id of entry.ids) this.#delete(id);
        break;
      case 'named':
        if (entry.name === null) this.#names.delete(entry.id);
        else this.#names.set(entry.id, entry.name);
        break;
      case 'proven':
        if (entry.ids === null)
          this.#provenAll = [
            ...this.#provenAll.filter((all) => all.what !== entry.what),
            { what: entry.what, when: entry.stored, before: entry.seq },
          ];
        else for (const id of entry.ids) this.#prove(id, entry.what, entry.stored);
        break;
      case 'noticed':
        this.noticed.push(...entry.what.map((what) => `${entry.stored}: ${what}`));
        break;
      case 'begun':
        break;
    }
  }

  #captured(entry: EntryOf<'capture'>): void {
    const { id, files } = entry;
    if (this.#holders.has(id)) return;
    const device = this.#device(entry.device);
    const holder = {
      id,
      device: device.name,
      files,
      digest: listingDigest(files),
      file: entry.in.file,
      users: 0,
    };
    this.#holders.set(id, holder);
    device.byDigest.set(holder.digest, holder);
    const shelf = this.#shelves.get(holder.file);
    if (shelf === undefined)
      this.#shelves.set(holder.file, {
        container: entry.in,
        raw: null,
        device: device.name,
        ids: new Set([id]),
      });
    else shelf.ids.add(id);
    this.#enter(entry, holder);
  }

  #sameAgain(entry: EntryOf<'same'>): void {
    const holder = this.#holders.get(entry.as);
    // When the line it refers to is damaged, nothing is known of its files.
    if (holder !== undefined) this.#enter(entry, holder);
  }

  #device(name: string): Device {
    const known = this.#devices.get(name);
    if (known !== undefined) return known;
    const device = { name, lines: [], byDigest: new Map<string, Holder>() };
    this.#devices.set(name, device);
    return device;
  }

  #enter(entry: EntryOf<'capture'> | EntryOf<'same'>, holder: Holder): void {
    this.#rows.add(entry.seq, entry, holder);
    this.#device(holder.device).lines.push(entry.seq);
    holder.users += 1;
  }

  #packed(entry: EntryOf<'packed'>): void {
    const ids = new Set(entry.adds);
    if (entry.replaces !== null) {
      for (const id of this.#shelves.get(entry.replaces)?.ids ?? []) if (this.#alive(id)) ids.add(id);
      this.#drop(entry.replaces);
    }
    for (const id of ids) {
      const holder = this.#holders.get(id);
      if (holder === undefined) continue;
      const before = this.#shelves.get(holder.file);
      before?.ids.delete(id);
      if (before?.ids.size === 0) this.#drop(holder.file);
      holder.file = entry.in.file;
    }
    this.#shelves.set(entry.in.file, { container: entry.in, raw: entry.raw, device: entry.device, ids });
    this.spent.delete(entry.in.file);
  }

  #move(from: string, to: Container): void {
    const shelf = this.#shelves.get(from);
    if (shelf === undefined) return;
    this.#drop(from);
    shelf.container = to;
    this.#shelves.set(to.file, shelf);
    for (const id of shelf.ids) this.#holders.get(id)!.file = to.file;
  }

  #drop(file: string): void {
    this.#shelves.delete(file);
    this.spent.add(file);
  }

  #delete(id: string): void {
    const line = this.#rows.lineOf(id);
    if (line === undefined) return;
    const holder = this.#rows.holder(line)!;
    this.#rows.remove(line);
    this.#names.delete(id);
    holder.users -= 1;
    if (holder.users > 0) return;
    this.#devices.get(holder.device)?.byDigest.delete(holder.digest);
    const shelf = this.#shelves.get(holder.file);
    if (shelf !== undefined && [...shelf.ids].every((one) => !this.#alive(one))) this.#drop(holder.file);
  }

  #prove(id: string, what: Proof, when: string): void {
    const proofs = this.#proven.get(id) ?? new Map<Proof, string>();
    this.#proven.set(id, proofs.set(what, when));
  }

  #alive(holder: string): boolean {
    return (this.#holders.get(holder)?.users ?? 0) > 0;
  }

  record(id: string): CaptureRecord | undefined {
    const line = this.#rows.lineOf(id);
    return line === undefined ? undefined : this.#record(line);
  }

  #record(line: number): CaptureRecord {
    const { device, digest, files } = this.#rows.holder(line)!;
    const { id, at, source, release, slot, run } = this.#rows.taken(line);
    return { id, device, at, source, release, slot, run, digest, files };
  }

  #holderFor(id: string): Holder | undefined {
    const line = this.#rows.lineOf(id);
    return line === undefined ? undefined : this.#rows.holder(line);
  }

  /** The capture whose bytes this one has: itself, or an earlier one it equals. */
  holderOf(id: string): string | undefined {
    return this.#holderFor(id)?.id;
  }

  /** What is known of the bytes of a holder, for writing it into a pack. */
  holder(id: string): Holder | undefined {
    return this.#holders.get(id);
  }

  /** The file that has the bytes of a capture. */
  shelfOf(id: string): Shelf | undefined {
    const holder = this.#holderFor(id) ?? this.#holders.get(id);
    return holder === undefined ? undefined : this.#shelves.get(holder.file);
  }

  /** The capture of this device whose bytes have this digest. */
  holderWith(device: string, digest: string): string | undefined {
    return this.#devices.get(device)?.byDigest.get(digest)?.id;
  }

  /** All files that hold captures. */
  get shelves(): readonly Shelf[] {
    return [...this.#shelves.values()];
  }

  /** Captures in a file whose bytes are still needed, in the order they came. */
  living(shelf: Shelf): string[] {
    return [...shelf.ids].filter((id) => this.#alive(id));
  }

  /** Captures that have the bytes of this holder. */
  users(holder: string): readonly string[] {
    const device = this.#devices.get(this.#holders.get(holder)?.device ?? '');
    return (device?.lines ?? [])
      .filter((line) => this.#rows.holder(line)?.id === holder)
      .map((line) => this.#rows.id(line));
  }

  nameOf(id: string): string | null {
    return this.#names.get(id) ?? null;
  }

  get devices(): readonly string[] {
    return [...this.#devices.values()]
      .filter(({ lines }) => lines.some((line) => this.#rows.holder(line) !== undefined))
      .map(({ name }) => name)
      .sort();
  }

  /** Oldest first, by the time they were taken, then by id. */
  list(device?: string): CaptureRecord[] {
    const lines = device === undefined ? [...this.#rows.lines()] : (this.#devices.get(device)?.lines ?? []);
    return lines
      .filter((line) => this.#rows.holder(line) !== undefined)
      .sort((a, b) => this.#rows.compare(a, b))
      .map((line) => this.#record(line));
  }

  /** All captures in the order they were stored, one at a time. */
  *each(): Generator<CaptureRecord> {
    for (const line of this.#rows.lines()) yield this.#record(line);
  }

  /** How many captures there are. */
  get size(): number {
    return this.#rows.size;
  }

  /** When this was last proven of this very capture, or null. */
  provenAt(id: string, what: Proof): string | null {
    const own = this.#proven.get(id)?.get(what) ?? null;
    const line = lineIn(id);
    const all = this.#provenAll.find((one) => one.what === what && line < one.before)?.when ?? null;
    return (
      [own, all]
        .filter((when) => when !== null)
        .sort()
        .at(-1) ?? null
    );
  }
}
