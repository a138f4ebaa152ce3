import { listingDigest } from './digest.ts';
import type { Container, Entry, EntryOf, Proof } from './entry.ts';
import type { CaptureRecord } from './port.ts';

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
  readonly users: Set<string>;
}

/** What the manifest says, arranged for looking up. It is the index: rebuilt from the manifest whenever it is opened. */
export class Catalogue {
  readonly #records = new Map<string, CaptureRecord>();
  readonly #byDevice = new Map<string, Map<string, CaptureRecord>>();
  readonly #holders = new Map<string, Holder>();
  readonly #holderOf = new Map<string, string>();
  /** `device digest` -> the capture that has the bytes. */
  readonly #byDigest = new Map<string, string>();
  readonly #shelves = new Map<string, Shelf>();
  readonly #names = new Map<string, string>();
  readonly #proven = new Map<string, Map<Proof, string>>();
  #provenAll: { readonly what: Proof; readonly when: string; readonly before: number }[] = [];
  /** What was once seen to be wrong with the manifest, and when. */
  readonly noticed: string[] = [];
  /** Files that lines have replaced or emptied: safe to remove. */
  readonly spent = new Set<string>();

  /** Takes the next lines of the manifest, in order. */
  add(entries: readonly Entry[]): void {
    for (const entry of entries) this.#take(entry);
  }

  #take(entry: Entry): void {
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
    const { id, device, files } = entry;
    if (this.#holders.has(id)) return;
    const digest = listingDigest(files);
    this.#holders.set(id, { id, device, files, digest, file: entry.in.file, users: new Set() });
    this.#byDigest.set(`${device} ${digest}`, id);
    const shelf = this.#shelves.get(entry.in.file);
    if (shelf === undefined)
      this.#shelves.set(entry.in.file, { container: entry.in, raw: null, device, ids: new Set([id]) });
    else shelf.ids.add(id);
    this.#record(entry, id);
  }

  #sameAgain(entry: EntryOf<'same'>): void {
    // When the line it refers to is damaged, nothing is known of its files.
    if (this.#holders.has(entry.as)) this.#record(entry, entry.as);
  }

  #record(entry: EntryOf<'capture'> | EntryOf<'same'>, as: string): void {
    const { id, device, at, source, release, slot, run } = entry;
    const holder = this.#holders.get(as)!;
    const record = { id, device, at, source, release, slot, run, digest: holder.digest, files: holder.files };
    this.#records.set(id, record);
    this.#holderOf.set(id, as);
    holder.users.add(id);
    const list = this.#byDevice.get(device) ?? new Map<string, CaptureRecord>();
    list.set(id, record);
    this.#byDevice.set(device, list);
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
    const record = this.#records.get(id);
    if (record === undefined) return;
    this.#records.delete(id);
    this.#byDevice.get(record.device)?.delete(id);
    if (this.#byDevice.get(record.device)?.size === 0) this.#byDevice.delete(record.device);
    this.#names.delete(id);
    const holder = this.#holders.get(this.#holderOf.get(id)!)!;
    holder.users.delete(id);
    this.#holderOf.delete(id);
    if (holder.users.size > 0) return;
    this.#byDigest.delete(`${holder.device} ${holder.digest}`);
    const shelf = this.#shelves.get(holder.file);
    if (shelf !== undefined && [...shelf.ids].every((one) => !this.#alive(one))) this.#drop(holder.file);
  }

  #prove(id: string, what: Proof, when: string): void {
    const proofs = this.#proven.get(id) ?? new Map<Proof, string>();
    this.#proven.set(id, proofs.set(what, when));
  }

  #alive(holder: string): boolean {
    return (this.#holders.get(holder)?.users.size ?? 0) > 0;
  }

  record(id: string): CaptureRecord | undefined {
    return this.#records.get(id);
  }

  /** The capture whose bytes this one has: itself, or an earlier one it equals. */
  holderOf(id: string): string | undefined {
    return this.#holderOf.get(id);
  }

  /** What is known of the bytes of a holder, for writing it into a pack. */
  holder(id: string): Holder | undefined {
    return this.#holders.get(id);
  }

  /** The file that has the bytes of a capture. */
  shelfOf(id: string): Shelf | undefined {
    const holder = this.#holders.get(this.#holderOf.get(id) ?? id);
    return holder === undefined ? undefined : this.#shelves.get(holder.file);
  }

  /** The capture of this device whose bytes have this digest. */
  holderWith(device: string, digest: string): string | undefined {
    return this.#byDigest.get(`${device} ${digest}`);
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
    return [...(this.#holders.get(holder)?.users ?? [])];
  }

  nameOf(id: string): string | null {
    return this.#names.get(id) ?? null;
  }

  get devices(): readonly string[] {
    return [...this.#byDevice.keys()].sort();
  }

  /** Oldest first, by the time they were taken, then by id. */
  list(device?: string): CaptureRecord[] {
    const all =
      device === undefined ? [...this.#records.values()] : [...(this.#byDevice.get(device)?.values() ?? [])];
    const instants = new Map(all.map((record) => [record, Date.parse(record.at)]));
    return all.sort((a, b) => instants.get(a)! - instants.get(b)! || (a.id < b.id ? -1 : 1));
  }

  /** When this was last proven of this very capture, or null. */
  provenAt(id: string, what: Proof): string | null {
    const own = this.#proven.get(id)?.get(what) ?? null;
    const line = Number(id.slice(id.lastIndexOf('-') + 1));
    const all = this.#provenAll.find((one) => one.what === what && line < one.before)?.when ?? null;
    return (
      [own, all]
        .filter((when) => when !== null)
        .sort()
        .at(-1) ?? null
    );
  }
}
