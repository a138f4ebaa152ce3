import { constants } from 'node:fs';
import { mkdir, open, readdir, rename, unlink } from 'node:fs/promises';
import path from 'node:path';
import { archiveError } from './errors.ts';

/** Ends the name of a file that is still being written. Such files are never read, and swept when writing. */
export const UNFINISHED = '.unfinished';

/** Makes a folder's entries (new names, renames, deletions) survive a power cut: fsync(2) of the folder. */
export async function syncFolder(folder: string): Promise<void> {
  const handle = await open(folder, constants.O_RDONLY);
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}

/** Makes a folder and those above it, each synced into its parent. */
export async function makeFolder(folder: string): Promise<void> {
  const made = await mkdir(folder, { recursive: true, mode: 0o700 });
  if (made === undefined) return;
  for (let at = path.resolve(folder); ; at = path.dirname(at)) {
    await syncFolder(path.dirname(at));
    if (at === path.resolve(made)) return;
  }
}

/**
 * Writes a file so that after any crash either nothing or all of it stands under its name: written beside, synced,
 * renamed, folder synced. Replaces a file of that name. Throws `archive/write-failed` (nothing is left behind).
 */
export async function writeDurably(file: string, bytes: Uint8Array): Promise<void> {
  const beside = `${file}.${process.pid}${UNFINISHED}`;
  try {
    const handle = await open(beside, 'w', 0o600);
    try {
      await handle.writeFile(bytes);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await rename(beside, file);
    await syncFolder(path.dirname(file));
  } catch (cause) {
    await unlink(beside).catch(() => undefined);
    const full = (cause as NodeJS.ErrnoException).code;
    throw archiveError('archive/write-failed', `Could not write ${bytes.length} bytes (${full ?? cause}).`, {
      file,
      advice:
        full === 'ENOSPC' || full === 'EDQUOT' || full === 'EFBIG'
          ? 'Make room on the disk and try again; nothing stored before is touched.'
          : 'Check that the folder may be written; nothing stored before is touched.',
      cause,
    });
  }
}

/** Removes what interrupted writes left behind, in a folder and below. Only while no other writer is at work. */
export async function sweepUnfinished(folder: string): Promise<void> {
  for (const entry of await readdir(folder, { recursive: true, withFileTypes: true }))
    if (entry.isFile() && entry.name.endsWith(UNFINISHED))
      await unlink(path.join(entry.parentPath, entry.name)).catch(() => undefined);
}
