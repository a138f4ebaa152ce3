import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach } from 'vitest';
import { type FolderArchive, openArchive } from './archive.ts';
import { type ArchiveKey, freshKey } from './key.ts';
import type { CaptureRecord, NewCapture } from './port.ts';

/** For tests: a fresh archive in a scratch folder before each, gone after it. */
export interface Scratch {
  home: string;
  folder: string;
  key: ArchiveKey;
  archive: FolderArchive;
  /** Puts the `n`th daily capture of a device; the same `n` is the same configuration. */
  put(n: number, more?: Partial<NewCapture>): Promise<CaptureRecord>;
}

export function scratchArchive(): Scratch {
  const scratch = {
    async put(n: number, more: Partial<NewCapture> = {}) {
      const at = new Date(Date.UTC(2026, 0, 1 + n, 3)).toISOString();
      const files = [{ name: 'running.conf', bytes: Buffer.from(`hostname gull-quay-1\nversion ${n}\n`) }];
      const source = 'round' as const;
      const one = {
        device: 'gull-quay-1',
        at,
        source,
        release: '7.2.4',
        slot: '1',
        run: null,
        files,
        ...more,
      };
      return scratch.archive.put(one);
    },
  } as Scratch;
  beforeEach(async () => {
    scratch.home = mkdtempSync(path.join(tmpdir(), 'archive-'));
    scratch.folder = path.join(scratch.home, 'archive');
    scratch.key = await freshKey();
    scratch.archive = await openArchive({ folder: scratch.folder, key: scratch.key });
  });
  afterEach(async () => {
    await scratch.archive.close();
    rmSync(scratch.home, { recursive: true, force: true });
  });
  return scratch;
}
