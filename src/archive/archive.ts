import { randomUUID } from 'node:crypto';
import { readdir } from 'node:fs/promises';
import path from 'node:path';
import { Catalogue } from './catalogue.ts';
import { checkCapture } from './check-capture.ts';
import { containerName, readContainer, writeContainer } from './container.ts';
import { byName, listingDigest, sha256 } from './digest.ts';
import { makeFolder } from './durable.ts';
import { archiveError } from './errors.ts';
import { type ArchiveKey, type Sealer, sealer } from './key.ts';
import { WriterLock } from './lock.ts';
import { MANIFEST, Manifest } from './manifest.ts';
import type { Archive, Capture, CaptureRecord, NewCapture } from './port.ts';

export interface ArchiveOptions {
  /** The archive's folder; made when it does not exist. */
  readonly folder: string;
  readonly key: ArchiveKey;
  /** Further age recipients who can open what is stored from now on. */
  readonly recipients?: readonly string[];
  /** The workbench's clock. */
  readonly now?: () => Date;
}

/** `20261125T095534Z-00000123`: the instant it was taken (UTC), and its line in the manifest. */
function captureId(at: string, seq: number): string {
  const utc = new Date(at).toISOString().replace(/\.\d+/, '').replaceAll(/[-:]/g, '');
  return `${utc}-${String(seq).padStart(8, '0')}`;
}

class FolderArchive implements Archive {
  readonly #folder: string;
  readonly #sealing: Sealer;
  readonly #now: () => Date;
  readonly #lock: WriterLock;
  readonly #manifest: Manifest;
  readonly #catalogue = new Catalogue();
  #refreshing: Promise<void> | undefined;

  constructor(options: ArchiveOptions, lock: WriterLock) {
    this.#folder = options.folder;
    this.#sealing = sealer(options.key, options.recipients);
    this.#now = options.now ?? (() => new Date());
    this.#lock = lock;
    this.#manifest = new Manifest(options.folder, options.key, this.#sealing);
  }

  /** Reads what others have added. Concurrent calls share one reading. */
  refresh(): Promise<void> {
    this.#refreshing ??= this.#manifest
      .refresh()
      .then((entries) => this.#catalogue.add(entries))
      .finally(() => {
        this.#refreshing = undefined;
      });
    return this.#refreshing;
  }

  /** Starts the manifest of a new archive. */
  async begin(key: ArchiveKey): Promise<void> {
    await this.#lock.alone(async () => {
      await this.refresh();
      if (this.#manifest.last > 0) return;
      const { recipient, verifying } = key;
      const begun = { kind: 'begun', archive: randomUUID(), recipient, verifying } as const;
      await this.#manifest.append([begun], this.#now().toISOString());
    });
  }

  async put(capture: NewCapture): Promise<CaptureRecord> {
    checkCapture(capture);
    const files = capture.files.map(({ name, bytes }) => ({
      name,
      size: bytes.length,
      sha256: sha256(bytes),
    }));
    const digest = listingDigest(files);
    return this.#lock.alone(async () => {
      await this.refresh();
      const seq = this.#manifest.last + 1;
      const { device, at, source, release, slot, run } = capture;
      const id = captureId(at, seq);
      const taken = { id, device, at, source, release, slot, run };
      const as = this.#catalogue.holder(device, digest);
      const entry =
        as === undefined
          ? {
              kind: 'capture' as const,
              ...taken,
              files: byName(files),
              in: await writeContainer(
                this.#folder,
                containerName(seq),
                { ...taken, digest, files: byName(files) },
                capture.files,
                this.#sealing,
              ),
            }
          : { kind: 'same' as const, ...taken, as };
      this.#catalogue.add(await this.#manifest.append([entry], this.#now().toISOString()));
      return this.#catalogue.record(id)!;
    });
  }

  async get(id: string): Promise<Capture> {
    let found = await this.#find(id);
    for (let again = false; ; again = true) {
      try {
        return {
          record: found.record,
          files: await readContainer(this.#folder, found.container, found.record, this.#sealing),
        };
      } catch (cause) {
        if ((cause as NodeJS.ErrnoException).code !== 'ENOENT') throw cause;
        if (again)
          throw archiveError('archive/damaged', 'The file that holds this capture is missing.', {
            file: path.join(this.#folder, found.container.file),
            advice: 'Bring it back from a replica.',
            cause,
          });
        // Another process may have moved it meanwhile: read where to, and try once more.
        await this.refresh();
        found = await this.#find(id);
      }
    }
  }

  async #find(id: string) {
    if (!this.#catalogue.has(id)) await this.refresh();
    const record = this.#catalogue.record(id);
    const container = this.#catalogue.container(id);
    if (record === undefined || container === undefined)
      throw archiveError('archive/unknown-capture', `The archive holds no capture ${JSON.stringify(id)}.`, {
        advice: 'See "archive list".',
      });
    return { record, container };
  }

  async list(device?: string): Promise<readonly CaptureRecord[]> {
    await this.refresh();
    return this.#catalogue.list(device);
  }

  async close(): Promise<void> {
    await this.#lock.close();
  }
}

/**
 * Opens the archive in a folder, or begins it there. Several processes may have it open. Throws
 * `archive/not-an-archive` when the folder holds other things, `archive/wrong-key` when the key is not this archive's.
 */
export async function openArchive(options: ArchiveOptions): Promise<Archive> {
  const { folder, key } = options;
  await makeFolder(folder);
  const there = await readdir(folder);
  if (
    !there.includes(MANIFEST) &&
    there.some((name) => !['keys', 'lock', 'lock-journal', 'captures'].includes(name))
  )
    throw archiveError('archive/not-an-archive', 'The folder holds other files and is not an archive.', {
      file: folder,
      advice: 'Choose an empty folder for a new archive.',
    });
  await makeFolder(path.join(folder, MANIFEST));
  const lock = new WriterLock(folder);
  const archive = new FolderArchive(options, lock);
  try {
    await archive.refresh();
    await archive.begin(key);
  } catch (cause) {
    await lock.close();
    throw cause;
  }
  return archive;
}
