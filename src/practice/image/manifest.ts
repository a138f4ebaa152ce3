import type { ReleaseFault } from '../device/fault.ts';

/** `release.json` of an image: what it is, for what, and what it must contain. */
export interface ReleaseManifest {
  readonly format: 1;
  readonly release: string;
  readonly models: readonly string[];
  /** The least release it can be installed over, or null for any. */
  readonly from: string | null;
  readonly fault: ReleaseFault | null;
  /** Every other file of the archive. Digests are SHA-256 in lower-case hex, sizes in bytes. */
  readonly members: readonly { readonly name: string; readonly size: number; readonly sha256: string }[];
}

/** The file names of the archive that are not members. */
export const MANIFEST = 'release.json';
export const SIGNATURE = 'release.json.sig';

/** Compares dotted numbers part by part, `4.10.0` above `4.9.2`; a missing part counts as 0. */
export function compareReleases(a: string, b: string): number {
  const left = a.split('.').map(Number);
  const right = b.split('.').map(Number);
  for (let i = 0; i < Math.max(left.length, right.length); i++) {
    const difference = (left[i] ?? 0) - (right[i] ?? 0);
    if (difference !== 0) return Math.sign(difference);
  }
  return 0;
}
