import {
  closeSync,
  fsync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  renameSync,
  writeSync,
} from 'node:fs';
import path from 'node:path';

const sync = (descriptor: number) =>
  new Promise<void>((resolve, reject) => {
    fsync(descriptor, (cause) => (cause === null ? resolve() : reject(cause)));
  });

/**
 * What the disk alone does for the files of one capture: each written, synced, renamed, its folder synced. The least that
 * anything can do that acknowledges only what survives a power cut.
 */
export async function bareStore(folder: string, name: string, files: readonly Buffer[]): Promise<void> {
  mkdirSync(folder, { recursive: true });
  for (const [i, bytes] of files.entries()) {
    const file = path.join(folder, `${name}-${i}`);
    const descriptor = openSync(`${file}.new`, 'w');
    writeSync(descriptor, bytes);
    await sync(descriptor);
    closeSync(descriptor);
    renameSync(`${file}.new`, file);
    const above = openSync(folder, 'r');
    await sync(above);
    closeSync(above);
  }
}

/** The newest file of the manifest, or any of its size once it was merged. */
export function newestLine(archive: string): Buffer {
  const folder = path.join(archive, 'manifest');
  return readFileSync(path.join(folder, readdirSync(folder).sort().at(-1)!)).subarray(0, 700);
}
