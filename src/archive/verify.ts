import { readdir } from 'node:fs/promises';
import path from 'node:path';
import type { TuckpointError } from '#core/errors';
import type { Shelf } from './catalogue.ts';
import { openShelf } from './container.ts';
import { UNFINISHED } from './durable.ts';
import type { Inside } from './inside.ts';
import type { ManifestFault } from './manifest.ts';

/** A file of the archive in which something is wrong, and the captures that cannot be had because of it. */
export interface FileFault {
  readonly file: string;
  readonly why: string;
  /** Ids of captures whose bytes are in it, unchanged ones that equal them included. */
  readonly lost: readonly string[];
}

export interface VerifyReport {
  /** True when nothing at all is wrong. */
  readonly good: boolean;
  /** Lines of the manifest, and what is wrong with them. */
  readonly lines: number;
  readonly manifest: readonly ManifestFault[];
  /** What was seen to be wrong with the manifest earlier, and noted in it. Does not count against `good`. */
  readonly noticed: readonly string[];
  /** Captures known, and how many of them were opened and had every digest right. */
  readonly captures: number;
  readonly goodCaptures: number;
  /** Per device: ids of its good captures, in the order they were stored. */
  readonly goodOf: ReadonlyMap<string, readonly string[]>;
  readonly files: readonly FileFault[];
  /** Files that no line of the manifest knows: left by a crash, or of lines that are gone. "archive reindex" takes them in. */
  readonly unknown: readonly string[];
  /** Bytes read and opened. */
  readonly bytes: number;
}

/** Every file below `captures/` and `packs/`, as the manifest would name it. */
export async function containerFiles(folder: string): Promise<string[]> {
  const found: string[] = [];
  for (const room of ['captures', 'packs']) {
    const entries = await readdir(path.join(folder, room), { recursive: true, withFileTypes: true }).catch(
      () => [],
    );
    for (const entry of entries)
      if (entry.isFile() && !entry.name.endsWith(UNFINISHED))
        found.push(path.relative(folder, path.join(entry.parentPath, entry.name)));
  }
  return found.sort();
}

/**
 * Checks everything there is: every line of the manifest (form, order, chain, signatures, heads), every container
 * (its digest, its encryption, every file's digest), and that no file stands there unknown. One container is in
 * memory at a time. Changes nothing. Other processes may go on writing: what they pack meanwhile is looked at where
 * it is then.
 */
export async function verifyArchive(
  inside: Inside,
  progress: (done: number, total: number) => void = () => undefined,
): Promise<VerifyReport> {
  const { catalogue, manifest, folder } = inside;
  // What must hold at one moment is looked at alone: a step of another writer, half done, is no fault.
  const faults = await inside.alone(async () => [
    ...manifest.faults,
    ...(await manifest.recheck()),
    ...(await manifest.compareHeads(inside.witnesses)),
  ]);
  const look = new Look(inside);
  for (let shelves = catalogue.shelves; shelves.length > 0; shelves = look.waiting())
    for (const [done, shelf] of shelves.entries()) {
      await look.at(shelf);
      progress(done + 1, shelves.length);
    }
  const unknown = await inside.alone(async () => {
    const known = new Set([...catalogue.shelves.map((shelf) => shelf.container.file), ...catalogue.spent]);
    return (await containerFiles(folder)).filter((file) => !known.has(file));
  });
  const goodOf = new Map<string, string[]>();
  let captures = 0;
  for (const { id, device } of catalogue.each()) {
    const holder = catalogue.holderOf(id)!;
    if (look.seen.has(holder)) captures += 1;
    if (!look.good.has(holder)) continue;
    const ids = goodOf.get(device);
    if (ids === undefined) goodOf.set(device, [id]);
    else ids.push(id);
  }
  const goodCaptures = [...goodOf.values()].reduce((sum, ids) => sum + ids.length, 0);
  return {
    good: faults.length === 0 && look.faults.length === 0 && unknown.length === 0,
    lines: manifest.last,
    manifest: faults,
    noticed: catalogue.noticed,
    captures,
    goodCaptures,
    goodOf,
    files: look.faults,
    unknown,
    bytes: look.bytes,
  };
}

/** One pass over the containers, and what it has seen. */
class Look {
  readonly #inside: Inside;
  /** Captures with bytes of their own: those to look at, those looked at, those whose every digest is right. */
  readonly #wanted: ReadonlySet<string>;
  readonly seen = new Set<string>();
  readonly good = new Set<string>();
  readonly faults: FileFault[] = [];
  bytes = 0;

  constructor(inside: Inside) {
    this.#inside = inside;
    this.#wanted = new Set(inside.catalogue.shelves.flatMap((shelf) => inside.catalogue.living(shelf)));
  }

  /** Containers with captures that were moved there meanwhile, and so were not looked at. */
  waiting(): readonly Shelf[] {
    const { catalogue } = this.#inside;
    const left = (id: string) => this.#wanted.has(id) && !this.seen.has(id);
    return catalogue.shelves.filter((shelf) => catalogue.living(shelf).some(left));
  }

  async at(shelf: Shelf): Promise<void> {
    const { catalogue, folder, sealing } = this.#inside;
    const { file, size } = shelf.container;
    const living = catalogue.living(shelf);
    const lost: string[] = [];
    const whys = new Set<string>();
    const fault = (id: string, why: string) => {
      lost.push(...catalogue.users(id));
      whys.add(why);
    };
    try {
      const open = await openShelf(folder, shelf, sealing);
      this.bytes += size;
      for (const id of living)
        try {
          open.check(catalogue.holder(id)!);
          this.good.add(id);
        } catch (cause) {
          fault(id, (cause as TuckpointError).message);
        }
    } catch (cause) {
      const gone = (cause as NodeJS.ErrnoException).code === 'ENOENT';
      if (gone && (await this.#moved(shelf, file))) return;
      whys.add(gone ? 'The file is missing.' : (cause as TuckpointError).message);
      for (const id of living) lost.push(...catalogue.users(id));
    }
    for (const id of living) this.seen.add(id);
    if (whys.size > 0) this.faults.push({ file, why: [...whys].join(' '), lost });
  }

  /** Has another process packed or encrypted it again since? */
  async #moved(shelf: Shelf, file: string): Promise<boolean> {
    await this.#inside.refresh();
    return shelf.container.file !== file || !this.#inside.catalogue.shelves.includes(shelf);
  }
}
