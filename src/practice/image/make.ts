import { createHash } from 'node:crypto';
import { mkdirSync } from 'node:fs';
import { basename, dirname } from 'node:path';
import { stringify } from 'yaml';
import type { ReleaseFault } from '../device/fault.ts';
import { sha256 } from '../disk/content.ts';
import { writeDurably } from '../disk/durable.ts';
import { packFiles } from './archive.ts';
import { MANIFEST, type ReleaseManifest, SIGNATURE } from './manifest.ts';
import { signManifest } from './signing.ts';

export interface PracticeImageOptions {
  /** Where the image goes; its release sheet goes to `OUT.sheet.yaml`. */
  readonly out: string;
  readonly release: string;
  /** Names of models it fits. */
  readonly models: readonly string[];
  /** The least release it can be installed over. */
  readonly from?: string;
  /** What it does wrong once it runs. The sheet does not tell. */
  readonly fault?: ReleaseFault;
  /** What is wrong with the file itself. The sheet gives the digest of the file as it is. */
  readonly flaw?: 'signed-by-a-stranger' | 'member-altered' | 'cut-short';
  /** Roughly how large, in bytes; 256 KiB without it. */
  readonly size?: number;
}

export interface PracticeImage {
  readonly path: string;
  readonly sheet: string;
  readonly size: number;
  readonly sha256: string;
}

/** Builds an invented release as members and manifest. The same options give the same bytes. */
export function makeRelease(options: Omit<PracticeImageOptions, 'out' | 'flaw'>): {
  manifest: ReleaseManifest;
  members: Map<string, Uint8Array>;
} {
  const { release, models } = options;
  const members = new Map<string, Uint8Array>([
    [
      'notes.txt',
      Buffer.from(`Release ${release} for ${models.join(', ')}. Practice only: nothing here runs.\n`),
    ],
    ['system.bin', filler(`${release} ${models.join()}`, options.size ?? 256 * 1024)],
  ]);
  const manifest: ReleaseManifest = {
    format: 1,
    release,
    models,
    from: options.from ?? null,
    fault: options.fault ?? null,
    members: [...members].map(([name, bytes]) => ({ name, size: bytes.length, sha256: sha256(bytes) })),
  };
  return { manifest, members };
}

/**
 * Makes a practice image: a tar archive of `release.json`, its Ed25519 signature and the members, with its release
 * sheet beside. Both are written whole or not at all.
 */
export async function makePracticeImage(options: PracticeImageOptions): Promise<PracticeImage> {
  const { manifest, members } = makeRelease(options);
  const text = Buffer.from(`${JSON.stringify(manifest, null, 1)}\n`);
  const owner = options.flaw === 'signed-by-a-stranger' ? 'stranger' : 'maker';
  const files = new Map<string, Uint8Array>([
    [MANIFEST, text],
    [SIGNATURE, signManifest(text, owner)],
    ...members,
  ]);
  if (options.flaw === 'member-altered') {
    const altered = Buffer.from(members.get('system.bin')!);
    altered[altered.length >> 1]! ^= 1;
    files.set('system.bin', altered);
  }
  let bytes = await packFiles(files);
  if (options.flaw === 'cut-short') bytes = bytes.subarray(0, Math.floor(bytes.length * 0.6));

  const image = {
    path: options.out,
    sheet: `${options.out}.sheet.yaml`,
    size: bytes.length,
    sha256: sha256(bytes),
  };
  mkdirSync(dirname(options.out), { recursive: true });
  writeDurably(options.out, bytes, 0o644);
  writeDurably(
    image.sheet,
    stringify({
      release: options.release,
      models: options.models,
      ...(options.from === undefined ? {} : { from: options.from }),
      files: [{ name: basename(options.out), size: image.size, sha256: image.sha256 }],
    }),
    0o644,
  );
  return image;
}

/** Bytes that look like nothing and are the same every time: SHAKE256 (FIPS 202) of the seed. */
const filler = (seed: string, size: number): Buffer =>
  createHash('shake256', { outputLength: size }).update(seed).digest();
