import { readdirSync, readFileSync } from 'node:fs';
import { mkdir, open, rename } from 'node:fs/promises';
import path from 'node:path';

/**
 * Milliseconds that the disk alone takes for the files of one capture: each written, synced, renamed, its folder synced.
 * The least that anything can do that acknowledges only what survives a power cut.
 */
export async function bareStore(folder: string, name: string, files: readonly Buffer[]): Promise<number> {
  await mkdir(folder, { recursive: true });
  const started = performance.now();
  for (const [i, bytes] of files.entries()) {
    const file = path.join(folder, `${name}-${i}`);
    const handle = await open(`${file}.new`, 'w');
    await handle.writeFile(bytes);
    await handle.sync();
    await handle.close();
    await rename(`${file}.new`, file);
    const above = await open(folder);
    await above.sync();
    await above.close();
  }
  return performance.now() - started;
}

/** The newest file of the manifest, or any of its size once it was merged. */
export function newestLine(archive: string): Buffer {
  const folder = path.join(archive, 'manifest');
  return readFileSync(path.join(folder, readdirSync(folder).sort().at(-1)!)).subarray(0, 700);
}
