import { randomUUID } from 'node:crypto';
import { readdir } from 'node:fs/promises';
import path from 'node:path';
import { Catalogue } from './catalogue.ts';
import { checkCapture } from './check-capture.ts';
import { FROM_REPLICA, openShelf } from './container.ts';
import { makeFolder } from './durable.ts';
import type { Entry, NewEntry } from './entry.ts';
import { archiveError } from './errors.ts';
import type { Inside } from './inside.ts';
import { type ArchiveKey, type Sealer, sealer } from './key.ts';
import { RING } from './key-ring.ts';
import { WriterLock } from './lock.ts';
import { MANIFEST, Manifest } from './manifest.ts';
import type { Archive, Capture, CaptureRecord, NewCapture } from './port.ts';
import { type DigestedCapture, digested, storeCaptures } from './storing.ts';
import { Together } from './together.ts';

export interface ArchiveOptions {
  /** The archive's folder; made when it does not exist. */
  readonly folder: string;
  readonly key: ArchiveKey;
  /** Further age recipients who can open what is stored from now on. */
  readonly recipients?: readonly string[];
  /** The workbench's clock. */
  readonly now?: () => Date;
  /**
   * A file outside the archive that notes the manifest's head. With it `verifyArchive` sees when the whole archive was
   * put back to an earlier state.
   */
  readonly witness?: string;
}

/** An archive in a folder, and its inside for the procedures of this room. */
export interface FolderArchive extends Archive {
  readonly inside: Inside;
}

/** Captures stored in one turn of the writer, and the bytes of them that are in memory meanwhile. */
const AT_ONCE = { items: 64, size: 8 * 1024 * 1024 };

class ArchiveInFolder implements FolderArchive, Inside {
  readonly folder: string;
  readonly key: ArchiveKey;
  readonly sealing: Sealer;
  readonly manifest: Manifest;
  readonly catalogue = new Catalogue();
  readonly witnesses: readonly string[];
  readonly #clock: () => Date;
  readonly #lock: WriterLock;
  readonly #puts = new Together<DigestedCapture, CaptureRecord>(
    (work) => this.alone(work),
    async (captures) => {
      await this.#noteLinesGone();
      return storeCaptures(this, captures);
    },
    AT_ONCE,
  );
  #refreshing: Promise<void> | undefined;
  #closed = false;
  #headsCompared = false;

  constructor(options: ArchiveOptions, lock: WriterLock) {
    this.folder = options.folder;
    this.key = options.key;
    this.sealing = sealer(options.key, options.recipients);
    this.manifest = new Manifest(options.folder, options.key, this.sealing);
    this.witnesses = options.witness === undefined ? [] : [options.witness];
    this.#clock = options.now ?? (() => new Date());
    this.#lock = lock;
  }

  get inside(): Inside {
    return this;
  }

  now(): Date {
    return this.#clock();
  }

  /** Concurrent calls share one reading. */
  refresh(): Promise<void> {
    this.#checkOpen();
    this.#refreshing ??= this.manifest
      .refresh((entry) => this.catalogue.add(entry))
      .finally(() => {
        this.#refreshing = undefined;
      });
    return this.#refreshing;
  }

  #checkOpen(): void {
    if (this.#closed) throw archiveError('archive/closed', 'The archive is closed.');
  }

  async alone<T>(work: () => Promise<T>): Promise<T> {
    this.#checkOpen();
    return this.#lock.alone(async () => {
      await this.refresh();
      return work();
    });
  }

  /**
   * Before this process writes its first line: is the manifest shorter than its heads say? Then that is noted for good,
   * since the next line moves the head on.
   */
  async #noteLinesGone(): Promise<void> {
    if (this.#headsCompared) return;
    this.#headsCompared = true;
    const gone = (await this.manifest.compareHeads(this.witnesses)).filter(
      ({ last }) => last > this.manifest.last,
    );
    if (gone.length === 0) return;
    const what = gone.map(({ first, last, why }) => `lines ${first} to ${last}: ${why}`);
    await this.append([{ kind: 'noticed', what }]);
  }

  async append(entries: readonly NewEntry[], durable?: Promise<void>): Promise<readonly Entry[]> {
    if (entries.some((entry) => entry.kind === 'noticed')) this.#headsCompared = true;
    await this.#noteLinesGone();
    const stored = this.now().toISOString();
    const added = await this.manifest.append(entries, stored, this.witnesses, durable);
    for (const entry of added) this.catalogue.add(entry);
    return added;
  }

  async put(capture: NewCapture): Promise<CaptureRecord> {
    checkCapture(capture);
    const size = capture.files.reduce((sum, file) => sum + file.bytes.length, 0);
    return this.#puts.do(digested(capture), size);
  }

  async get(id: string): Promise<Capture> {
    for (let again = false; ; again = true) {
      const { record, shelf, holder } = await this.#find(id);
      try {
        const open = await openShelf(this.folder, shelf, this.sealing);
        return { record, files: open.files({ id: holder, files: record.files }) };
      } catch (cause) {
        if ((cause as NodeJS.ErrnoException).code !== 'ENOENT') throw cause;
        if (again)
          throw archiveError('archive/damaged', 'The file that holds this capture is missing.', {
            file: path.join(this.folder, shelf.container.file),
            advice: FROM_REPLICA,
            cause,
          });
        // Another process may have packed it meanwhile: read where to, and try once more.
        await this.refresh();
      }
    }
  }

  async #find(id: string) {
    if (this.catalogue.record(id) === undefined) await this.refresh();
    const record = this.catalogue.record(id);
    const shelf = this.catalogue.shelfOf(id);
    const holder = this.catalogue.holderOf(id);
    if (record === undefined || shelf === undefined || holder === undefined)
      throw archiveError('archive/unknown-capture', `The archive holds no capture ${JSON.stringify(id)}.`, {
        advice: 'See "archive list".',
      });
    return { record, shelf, holder };
  }

  async list(device?: string): Promise<readonly CaptureRecord[]> {
    await this.refresh();
    return this.catalogue.list(device);
  }

  async close(): Promise<void> {
    if (this.#closed) return;
    await this.#puts.idle();
    await this.#lock.close();
    this.#closed = true;
  }
}

/** The inside of an archive, for the procedures of this room. Throws `archive/not-an-archive` for one kept otherwise. */
export function insideOf(archive: Archive): Inside {
  if (archive instanceof ArchiveInFolder) return archive;
  throw archiveError('archive/not-an-archive', 'This archive is not kept in a folder.');
}

/** What may stand in the folder before an archive is begun there. */
const OURS = [RING, 'lock', 'lock-journal', 'captures', 'packs', 'replicas', 'head.json', MANIFEST];

/**
 * Opens the archive in a folder, or begins it there. Several processes may have it open. Throws
 * `archive/not-an-archive` when the folder holds other things, `archive/wrong-key` when the key is not this archive's.
 */
export async function openArchive(options: ArchiveOptions): Promise<FolderArchive> {
  const { folder, key } = options;
  await makeFolder(folder);
  const there = await readdir(folder);
  if (!there.includes(MANIFEST) && there.some((name) => !OURS.includes(name)))
    throw archiveError('archive/not-an-archive', 'The folder holds other files and is not an archive.', {
      file: folder,
      advice: 'Choose an empty folder for a new archive.',
    });
  await makeFolder(path.join(folder, MANIFEST));
  const lock = new WriterLock(folder);
  const archive = new ArchiveInFolder(options, lock);
  try {
    await archive.refresh();
    if (archive.manifest.last === 0)
      await archive.alone(async () => {
        const { recipient, verifying } = key;
        if (archive.manifest.last === 0)
          await archive.append([{ kind: 'begun', archive: randomUUID(), recipient, verifying }]);
      });
  } catch (cause) {
    await lock.close();
    throw cause;
  }
  return archive;
}
