import { createHash } from 'node:crypto';
import type { ReleaseManifest } from '../image/manifest.ts';

/** File names to bytes. */
export type Files = ReadonlyMap<string, Uint8Array>;

/** What one slot holds. Never changed in place: another content takes its place. */
export interface Content {
  readonly manifest: ReleaseManifest;
  /** The release's own members, as the archive carried them. */
  readonly members: Files;
  readonly configuration: Files;
  /** The release this configuration has been brought to; another one migrates it at its first boot. */
  readonly settledFor: string;
}

/** SHA-256 (lower-case hex) over the files in the order of their names: name, length and bytes of each. */
export function configurationDigest(files: Files): string {
  const hash = createHash('sha256');
  for (const name of [...files.keys()].sort()) {
    const bytes = files.get(name)!;
    hash.update(`${name}\0${bytes.length}\0`).update(bytes);
  }
  return hash.digest('hex');
}

/** SHA-256 in lower-case hex. */
export const sha256 = (bytes: Uint8Array | string): string =>
  createHash('sha256').update(bytes).digest('hex');
