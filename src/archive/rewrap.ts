import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { Decrypter } from 'age-encryption';
import { codeOf } from '#core/errors';
import { containerName, openContainer, writeContainer } from './container.ts';
import type { Inside } from './inside.ts';
import { removeSpent } from './packing.ts';

/** Is this age file encrypted for the present key? Only its header is opened. */
async function isCurrent(inside: Inside, bytes: Uint8Array): Promise<boolean> {
  const decrypter = new Decrypter();
  decrypter.addIdentity(inside.key.identity);
  return decrypter.decryptHeader(bytes).then(
    () => true,
    () => false,
  );
}

export interface RewrapReport {
  readonly done: number;
  /** Files left as they are because they cannot be opened. */
  readonly damaged: readonly string[];
}

/**
 * Encrypts everything again under the present key (after `rotateKey`), with fresh file keys. One file at a time,
 * each as a line of the manifest; the manifest itself comes last. May be stopped and repeated. Other processes that
 * have the archive open must open it again to see what is written from now on.
 */
export async function rewrapArchive(
  inside: Inside,
  progress: (done: number, total: number) => void = () => undefined,
): Promise<RewrapReport> {
  await inside.refresh();
  const damaged: string[] = [];
  let done = 0;
  const shelves = inside.catalogue.shelves;
  for (const [i, { container }] of shelves.entries()) {
    progress(i, shelves.length);
    await inside.alone(async () => {
      if (inside.catalogue.shelves.every((shelf) => shelf.container.file !== container.file)) return;
      try {
        const bytes = await readFile(path.join(inside.folder, container.file));
        if (await isCurrent(inside, bytes)) return;
        const plain = await openContainer(inside.folder, container, inside.sealing);
        const kind = container.file.startsWith('packs/') ? 'packs' : 'captures';
        const name = containerName(kind, inside.manifest.last + 1);
        const fresh = await writeContainer(inside.folder, name, plain, inside.sealing, async (back) => {
          if (Buffer.compare(back, plain) !== 0) throw new Error('it differs');
        });
        await inside.append([{ kind: 'rewrapped', from: container.file, in: fresh }]);
        await removeSpent(inside);
        done += 1;
      } catch (cause) {
        if (codeOf(cause) === 'archive/write-failed') throw cause;
        damaged.push(container.file);
      }
    });
  }
  await inside.alone(async () => {
    await inside.manifest.merge(2);
    await inside.manifest.rewrap((bytes) => isCurrent(inside, bytes));
  });
  progress(shelves.length, shelves.length);
  return { done, damaged };
}
