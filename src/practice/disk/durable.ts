import { closeSync, fsyncSync, mkdirSync, openSync, renameSync, rmSync, writeSync } from 'node:fs';
import { dirname, join } from 'node:path';

/** Writes a file so that after any stop either the old bytes or the new ones are there: beside, fsync, rename. */
export function writeDurably(path: string, bytes: Uint8Array | string, mode = 0o600): void {
  const beside = `${path}.new`;
  writeAndSync(beside, bytes, mode);
  renameSync(beside, path);
  syncFolder(dirname(path));
}

/** Makes a folder of files that appears whole or not at all. `files` are paths inside it, with `/`. */
export function writeFolderDurably(path: string, files: ReadonlyMap<string, Uint8Array>): void {
  const beside = `${path}.new`;
  rmSync(beside, { recursive: true, force: true });
  const folders = new Set([beside]);
  for (const [name, bytes] of files) {
    const file = join(beside, name);
    mkdirSync(dirname(file), { recursive: true });
    folders.add(dirname(file));
    writeAndSync(file, bytes, 0o600);
  }
  for (const folder of folders) syncFolder(folder);
  renameSync(beside, path);
  syncFolder(dirname(path));
}

function writeAndSync(path: string, bytes: Uint8Array | string, mode: number): void {
  const file = openSync(path, 'w', mode);
  try {
    const whole = typeof bytes === 'string' ? Buffer.from(bytes) : bytes;
    for (let at = 0; at < whole.length; ) at += writeSync(file, whole, at);
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}

/** A folder's own entries reach the disk. Some systems have no such call on a folder; there the rename must do. */
function syncFolder(path: string): void {
  if (process.platform === 'win32') return;
  const folder = openSync(path, 'r');
  try {
    fsyncSync(folder);
  } finally {
    closeSync(folder);
  }
}
