import { createHash } from 'node:crypto';
import { mkdir, writeFile } from 'node:fs/promises';
import { basename, dirname } from 'node:path';
import { buffer } from 'node:stream/consumers';
import { pack } from 'tar-stream';
import { stringify } from 'yaml';
import { buildRelease, type Release, type ReleaseOptions } from './release.ts';

/** A firmware file as it lies on the workbench, and its release sheet beside it. */
export interface Image {
  readonly path: string;
  readonly sheet: string;
  readonly version: string;
  readonly size: number;
  readonly sha256: string;
}

/** The archive: a tar (POSIX ustar) whose first members are the statement and its Ed25519 signature. */
async function archive(release: Release): Promise<Buffer> {
  const tar = pack();
  const whole = buffer(tar);
  const add = (name: string, bytes: Buffer, mode: number) =>
    tar.entry({ name, mode, mtime: new Date(0) }, bytes);
  add('release.json', release.statement, 0o644);
  add('release.sig', release.signature, 0o644);
  for (const { name, bytes, executable } of release.members) add(name, bytes, executable ? 0o755 : 0o644);
  tar.finalize();
  return whole;
}

/** The last member is the payload: a bit of it turns, or the end of the archive is missing. */
function damaged(whole: Buffer, kind: string | undefined): Buffer {
  if (kind === 'truncated') return whole.subarray(0, Math.floor(whole.length * 0.6));
  if (kind !== 'tampered') return whole;
  const copy = Buffer.from(whole);
  const at = Math.floor(copy.length * 0.75);
  copy[at] = copy[at]! ^ 1;
  return copy;
}

/**
 * Makes a firmware file at `path` and its release sheet at `path.sheet.yaml`. The sheet of a truncated or tampered
 * image states the sound file, as its maker would have published it.
 */
export async function writeImage(path: string, options: ReleaseOptions): Promise<Image> {
  const release = buildRelease(options);
  const whole = await archive(release);
  const bytes = damaged(whole, options.fault?.kind);
  const digest = (of: Buffer) => createHash('sha256').update(of).digest('hex');
  const sheet = `${path}.sheet.yaml`;
  await mkdir(dirname(path), { recursive: true });
  await writeFile(path, bytes);
  await writeFile(
    sheet,
    stringify({
      release: release.version,
      models: release.models,
      from: release.from,
      files: [{ name: basename(path), size: whole.length, sha256: digest(whole) }],
    }),
  );
  return { path, sheet, version: release.version, size: bytes.length, sha256: digest(bytes) };
}
