import { unlink } from 'node:fs/promises';
import path from 'node:path';
import type { Shelf } from './catalogue.ts';
import { containerName, openContainer, openShelf, writeContainer } from './container.ts';
import { sweepUnfinished } from './durable.ts';
import type { Inside } from './inside.ts';
import { Pack } from './pack.ts';
import type { CaptureRecord } from './port.ts';
import { spentAll } from './spent.ts';

/** Size of a pack's tar, in bytes, above which the next pack is begun. Opening one this large takes some ten milliseconds,
 * and making it less than 100 MB of memory. */
const FULL = 8 * 1024 * 1024;

export interface PackingProgress {
  readonly device: string;
  readonly captures: number;
}

/** Captures of a device that still stand alone, oldest first. */
function loose(inside: Inside, device: string): Shelf[] {
  return inside.catalogue.shelves.filter((shelf) => shelf.device === device && shelf.raw === null);
}

/** The pack of a device that still has room. */
function openPack(inside: Inside, device: string): Shelf | undefined {
  return inside.catalogue.shelves.findLast(
    (shelf) => shelf.device === device && shelf.raw !== null && shelf.raw < FULL,
  );
}

function recordOf(inside: Inside, id: string): CaptureRecord {
  const record = inside.catalogue.record(id);
  if (record !== undefined) return record;
  // It was deleted, but later captures have the same bytes: the pack needs no more than its files.
  const { device, files, digest } = inside.catalogue.holder(id)!;
  return { id, device, at: '', source: 'unplanned', release: null, slot: null, run: null, digest, files };
}

/** Writes a pack, reads it back, enters it in the manifest. */
async function store(inside: Inside, device: string, pack: Pack, adds: string[], replaces: string | null) {
  const plain = await pack.write();
  const name = containerName('packs', inside.manifest.last + 1);
  const container = await writeContainer(inside.folder, name, plain, inside.sealing, async (back) => {
    const again = await Pack.read(back);
    for (const record of again.records) again.check(record);
    if (again.records.length !== pack.records.length) throw new Error('a capture is missing');
    if (!again.inOrder()) throw new Error('pieces are out of order');
  });
  await inside.append([{ kind: 'packed', device, in: container, raw: pack.size, adds, replaces }]);
}

/** Removes files that the manifest says are replaced or emptied. A file gone already is no error. */
export async function removeSpent(inside: Inside): Promise<void> {
  for (const file of inside.catalogue.spent) {
    await unlink(path.join(inside.folder, file)).catch((cause) => {
      if ((cause as NodeJS.ErrnoException).code !== 'ENOENT') throw cause;
    });
    inside.catalogue.spent.delete(file);
  }
}

/** Moves the single captures of one device into its pack. Call within `alone`. Damaged files stay where they are. */
async function packDevice(inside: Inside, device: string): Promise<number> {
  const waiting = loose(inside, device);
  let before = openPack(inside, device);
  let pack = new Pack();
  if (before !== undefined)
    try {
      const there = await Pack.read(await openContainer(inside.folder, before.container, inside.sealing));
      if (there.inOrder()) pack = there;
      else before = undefined; // made before pieces had one order: leave it, and begin another
    } catch {
      before = undefined; // damaged: leave it for "archive verify" to tell, and begin another
    }
  let adds: string[] = [];
  let count = 0;
  for (const shelf of waiting) {
    for (const id of inside.catalogue.living(shelf)) {
      const record = recordOf(inside, id);
      try {
        pack.add(record, (await openShelf(inside.folder, shelf, inside.sealing)).files(record));
      } catch {
        continue;
      }
      adds.push(id);
      count += 1;
    }
    if (pack.size >= FULL) {
      await store(inside, device, pack, adds, before?.container.file ?? null);
      pack = new Pack();
      adds = [];
      before = undefined;
    }
  }
  if (adds.length > 0) await store(inside, device, pack, adds, before?.container.file ?? null);
  return count;
}

/** Rewrites packs that hold deleted captures, so that nothing of those remains. Call within `alone`. */
export async function purgeDeleted(inside: Inside): Promise<void> {
  for (const shelf of inside.catalogue.shelves) {
    const living = inside.catalogue.living(shelf);
    if (shelf.raw === null || living.length === shelf.ids.size) continue;
    const open = await openShelf(inside.folder, shelf, inside.sealing);
    const pack = new Pack();
    for (const id of living) pack.add(recordOf(inside, id), open.files(recordOf(inside, id)));
    await store(inside, shelf.device, pack, [], shelf.container.file);
  }
}

/**
 * Puts the archive in order: single captures into packs (for devices with at least `atLeast` of them), packs without
 * their deleted captures, many small segments of the manifest into few, leftovers of crashes away. Other writers get
 * their turn between devices. Safe to stop at any moment, and to repeat.
 */
export async function tidy(
  inside: Inside,
  atLeast = 16,
  progress: (done: PackingProgress) => void = () => undefined,
): Promise<void> {
  await inside.refresh();
  const counts = new Map<string, number>();
  for (const shelf of inside.catalogue.shelves)
    if (shelf.raw === null) counts.set(shelf.device, (counts.get(shelf.device) ?? 0) + 1);
  for (const [device, count] of counts) {
    if (count < atLeast) continue;
    const captures = await inside.alone(async () => {
      const moved = await packDevice(inside, device);
      await removeSpent(inside);
      return moved;
    });
    spentAll();
    progress({ device, captures });
  }
  await inside.alone(async () => {
    await purgeDeleted(inside);
    await removeSpent(inside);
    await inside.manifest.merge(2);
    await sweepUnfinished(inside.folder);
  });
}
