import { readdir } from 'node:fs/promises';
import path from 'node:path';
import type { TuckpointError } from '#core/errors';
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
  /** Per device: ids of its good captures, newest last. */
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
 * memory at a time. Changes nothing.
 */
export async function verifyArchive(
  inside: Inside,
  progress: (done: number, total: number) => void = () => undefined,
): Promise<VerifyReport> {
  await inside.refresh();
  const { catalogue, manifest, folder } = inside;
  const faults = [
    ...manifest.faults,
    ...(await manifest.recheck()),
    ...(await manifest.compareHeads(inside.witnesses)),
  ];
  const files: FileFault[] = [];
  const goodOf = new Map<string, string[]>();
  let goodCaptures = 0;
  let bytes = 0;
  const shelves = catalogue.shelves;
  for (const [done, shelf] of shelves.entries()) {
    const { file } = shelf.container;
    const living = catalogue.living(shelf);
    const lost: string[] = [];
    const whys: string[] = [];
    const good = (ids: readonly string[]) => {
      goodCaptures += ids.length;
      goodOf.set(shelf.device, [...(goodOf.get(shelf.device) ?? []), ...ids]);
    };
    try {
      const open = await openShelf(folder, shelf, inside.sealing);
      bytes += shelf.container.size;
      for (const id of living) {
        try {
          open.check(catalogue.holder(id)!);
          good(catalogue.users(id));
        } catch (cause) {
          lost.push(...catalogue.users(id));
          whys.push((cause as TuckpointError).message);
        }
      }
    } catch (cause) {
      const { code, message } = cause as TuckpointError;
      lost.push(...living.flatMap((id) => catalogue.users(id)));
      whys.push(code === 'ENOENT' ? 'The file is missing.' : message);
    }
    if (whys.length > 0) files.push({ file, why: [...new Set(whys)].join(' '), lost });
    progress(done + 1, shelves.length);
  }
  for (const ids of goodOf.values()) ids.sort();
  const known = new Set([...shelves.map((shelf) => shelf.container.file), ...catalogue.spent]);
  const unknown = (await containerFiles(folder)).filter((file) => !known.has(file));
  return {
    good: faults.length === 0 && files.length === 0 && unknown.length === 0,
    lines: manifest.last,
    manifest: faults,
    noticed: catalogue.noticed,
    captures: catalogue.list().length,
    goodCaptures,
    goodOf,
    files,
    unknown,
    bytes,
  };
}
