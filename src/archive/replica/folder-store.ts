import { readdir, readFile, stat, unlink } from 'node:fs/promises';
import path from 'node:path';
import { makeFolder, UNFINISHED, writeDurably } from '../durable.ts';
import { archiveError } from '../errors.ts';
import type { ReplicaStore } from './store.ts';

function unreachable(file: string, cause: unknown): never {
  throw archiveError(
    'archive/replica',
    `The replica's folder cannot be used (${(cause as Error).message}).`,
    {
      file,
      advice:
        'Check that its disk is there and may be written; then replicate again: it goes on where it stopped.',
      cause,
    },
  );
}

/** A replica in a folder, such as on another disk or a mounted share. */
export function folderStore(folder: string): ReplicaStore {
  const missing = (cause: unknown) => (cause as NodeJS.ErrnoException).code === 'ENOENT';
  return {
    where: folder,
    async list() {
      const found = new Map<string, number>();
      try {
        const entries = await readdir(folder, { recursive: true, withFileTypes: true });
        for (const entry of entries) {
          if (!entry.isFile() || entry.name.endsWith(UNFINISHED)) continue;
          const file = path.join(entry.parentPath, entry.name);
          found.set(path.relative(folder, file).split(path.sep).join('/'), (await stat(file)).size);
        }
      } catch (cause) {
        if (!missing(cause)) unreachable(folder, cause);
      }
      return found;
    },
    async read(name) {
      try {
        return await readFile(path.join(folder, name));
      } catch (cause) {
        return missing(cause) ? null : unreachable(folder, cause);
      }
    },
    async write(name, bytes) {
      try {
        const file = path.join(folder, name);
        await makeFolder(path.dirname(file));
        await writeDurably(file, bytes);
      } catch (cause) {
        unreachable(folder, cause);
      }
    },
    async remove(name) {
      try {
        await unlink(path.join(folder, name));
      } catch (cause) {
        if (!missing(cause)) unreachable(folder, cause);
      }
    },
  };
}
