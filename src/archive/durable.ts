import { closeSync, fsync, openSync, renameSync, writeFile, writeFileSync } from 'node:fs';
import { mkdir, readdir, unlink } from 'node:fs/promises';
import path from 'node:path';
import { archiveError } from './errors.ts';

/** Ends the name of a file that is still being written. Such files are never read, and swept when writing. */
export const UNFINISHED = '.unfinished';

/** Bytes that are in memory sooner than another thread has been asked to put them there. */
const SMALL = 1024 * 1024;

/** Has another thread do what waits for the disk. */
function elsewhere(call: (done: (cause: Error | null) => void) => void): Promise<void> {
  return new Promise((resolve, reject) => {
    call((cause) => (cause === null ? resolve() : reject(cause)));
  });
}

/** fsync(2). */
function synced(descriptor: number): Promise<void> {
  return elsewhere((done) => fsync(descriptor, done));
}

/** Makes a folder's entries (new names, renames, deletions) survive a power cut. */
export async function syncFolder(folder: string): Promise<void> {
  const descriptor = openSync(folder, 'r');
  try {
    await synced(descriptor);
  } finally {
    closeSync(descriptor);
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

/** The name under which a file is written until it is whole. */
const beside = (file: string) => `${file}.${process.pid}${UNFINISHED}`;

function writeFailed(file: string, what: string, cause: unknown) {
  const { code } = cause as NodeJS.ErrnoException;
  return archiveError('archive/write-failed', `Could not write ${what} (${code ?? cause}).`, {
    file,
    advice:
      code === 'ENOSPC' || code === 'EDQUOT' || code === 'EFBIG'
        ? 'Make room on the disk and try again; nothing stored before is touched.'
        : 'Check that the folder may be written; nothing stored before is touched.',
    cause,
  });
}

/** Writes and syncs a file beside its name; `publish` gives it the name. Throws `archive/write-failed`. */
export async function stage(file: string, bytes: Uint8Array): Promise<void> {
  try {
    const descriptor = openSync(beside(file), 'w', 0o600);
    try {
      if (bytes.length <= SMALL) writeFileSync(descriptor, bytes);
      else await elsewhere((done) => writeFile(descriptor, bytes, done));
      await synced(descriptor);
    } finally {
      closeSync(descriptor);
    }
  } catch (cause) {
    await unstage(file);
    throw writeFailed(file, `${bytes.length} bytes`, cause);
  }
}

/** Removes what `stage` wrote, if it is there. */
export async function unstage(file: string): Promise<void> {
  await unlink(beside(file)).catch(() => undefined);
}

/**
 * Gives staged files their names, replacing what has them, and syncs each folder once; `meanwhile` is done while the disk
 * is at that. Throws `archive/write-failed`, and what `meanwhile` throws.
 */
export async function publish(
  files: readonly string[],
  meanwhile: () => Promise<void> = async () => undefined,
): Promise<void> {
  let at = files[0] ?? '';
  const failed = async (cause: unknown) => {
    for (const file of files) await unstage(file);
    throw writeFailed(at, 'a file under its name', cause);
  };
  try {
    for (at of files) renameSync(beside(at), at);
  } catch (cause) {
    await failed(cause);
  }
  const folders = [...new Set(files.map((file) => path.dirname(file)))];
  const sync = Promise.all(folders.map(syncFolder)).catch(failed);
  const both = await Promise.allSettled([sync, meanwhile()]);
  for (const one of both) if (one.status === 'rejected') throw one.reason;
}

/**
 * Writes a file so that after any crash either nothing or all of it stands under its name: written beside, synced,
 * renamed, folder synced. Replaces a file of that name. Throws `archive/write-failed` (nothing is left behind).
 */
export async function writeDurably(file: string, bytes: Uint8Array): Promise<void> {
  await stage(file, bytes);
  await publish([file]);
}

/** Removes what interrupted writes left behind, in a folder and below. Only while no other writer is at work. */
export async function sweepUnfinished(folder: string): Promise<void> {
  for (const entry of await readdir(folder, { recursive: true, withFileTypes: true }))
    if (entry.isFile() && entry.name.endsWith(UNFINISHED))
      await unlink(path.join(entry.parentPath, entry.name)).catch(() => undefined);
}
