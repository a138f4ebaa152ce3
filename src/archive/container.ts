import { randomBytes } from 'node:crypto';
import { readFile, unlink } from 'node:fs/promises';
import path from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import type { Shelf } from './catalogue.ts';
import { compressed, decompressed } from './compressor.ts';
import { sha256 } from './digest.ts';
import { makeFolder, publish, stage, unstage } from './durable.ts';
import { type Container, recordSchema } from './entry.ts';
import { archiveError } from './errors.ts';
import type { Sealer } from './key.ts';
import { pathBelow } from './names.ts';
import { Pack } from './pack.ts';
import type { CaptureFile, CaptureRecord } from './port.ts';
import { packTar, unpackTar } from './tar.ts';

/** Where the files of a single capture stand in its tar, beside `capture.json` with its record. */
const FILES = 'files/';

/**
 * Name of a new container that line `seq` of the manifest brings, below the archive's folder. The random end keeps
 * a name from ever meaning two files, even when lines were lost and their numbers come again.
 */
export function containerName(kind: 'captures' | 'packs', seq: number): string {
  const number = String(seq).padStart(8, '0');
  const end = randomBytes(3).toString('hex');
  return kind === 'packs'
    ? `packs/${number}-${end}.tar.zst.age`
    : `captures/${number.slice(0, -3)}/${number}-${end}.tar.zst.age`;
}

/** One capture as zstd(tar). */
export async function wrapCapture(record: CaptureRecord, files: readonly CaptureFile[]): Promise<Uint8Array> {
  const tar = packTar(
    [
      { name: 'capture.json', bytes: Buffer.from(`${JSON.stringify(record, null, 2)}\n`) },
      ...files.map((file) => ({ name: FILES + pathBelow(file.name), bytes: file.bytes })),
    ],
    new Date(record.at),
  );
  return compressed(tar);
}

/** The record and files in zstd(tar) of one capture, digests checked. Throws a plain Error. */
export async function unwrapCapture(
  bytes: Uint8Array,
  limit?: number,
): Promise<{ record: CaptureRecord; files: CaptureFile[] }> {
  const inside = new Map(
    unpackTar(await decompressed(bytes, limit)).map((entry) => [entry.name, entry.bytes]),
  );
  const json = inside.get('capture.json');
  if (json === undefined) throw new Error('there is no capture.json inside');
  const record = recordSchema.parse(JSON.parse(Buffer.from(json).toString()));
  const files = record.files.map(({ name }) => {
    const content = inside.get(FILES + pathBelow(name));
    if (content === undefined) throw new Error(`the file ${name} is not inside`);
    return { name, bytes: content };
  });
  checkFiles(record, files);
  return { record, files };
}

/** Checks the digest of every file. Throws a plain Error. */
function checkFiles(record: Pick<CaptureRecord, 'files'>, files: readonly CaptureFile[]): void {
  const digests = new Map(files.map((file) => [file.name, sha256(file.bytes)]));
  for (const file of record.files)
    if (digests.get(file.name) !== file.sha256)
      throw new Error(`the file ${file.name} inside is not the one captured`);
}

/** A container about to be written, below the archive's folder. */
export interface NewContainer {
  readonly name: string;
  /** Makes what is to be inside: zstd(tar). */
  plain(): Promise<Uint8Array>;
  /** Looks at what is inside when it was read back. Throws a plain Error. */
  check(plain: Uint8Array): Promise<void>;
}

/** Containers on their way to the disk. */
export interface StagedContainers {
  readonly containers: readonly Container[];
  /** When all of them are on the disk under their names, synced, and read back, opened. Rejects `archive/write-failed`. */
  readonly durable: Promise<void>;
  /** Removes them again, as far as they were written. */
  discard(): Promise<void>;
}

/** Makes containers and begins to write them. While one is synced the next is made. Throws when one cannot be made. */
export async function stageContainers(
  archive: string,
  news: readonly NewContainer[],
  sealing: Sealer,
): Promise<StagedContainers> {
  const files = news.map(({ name }) => path.join(archive, name));
  const staged: Promise<unknown>[] = [];
  const containers: Container[] = [];
  async function discard() {
    await Promise.all(staged);
    for (const file of files) {
      await unstage(file);
      await unlink(file).catch(() => undefined);
    }
  }
  async function check() {
    for (const [i, container] of containers.entries())
      await openContainer(archive, container, sealing)
        .then(news[i]!.check)
        .catch((cause) => {
          throw unlikeWritten(files[i]!, cause);
        });
  }
  async function finish() {
    const problem = (await Promise.all(staged)).find((one) => one !== undefined);
    if (problem !== undefined) throw problem;
    await publish(files, check);
  }
  try {
    for (const folder of new Set(files.map((file) => path.dirname(file)))) await makeFolder(folder);
    for (const [i, { name, plain }] of news.entries()) {
      const bytes = await sealing.seal(await plain());
      containers.push({ file: name, size: bytes.length, sha256: sha256(bytes) });
      staged.push(stage(files[i]!, bytes).catch((cause) => cause));
    }
  } catch (cause) {
    await discard();
    throw cause;
  }
  const durable = finish();
  durable.catch(() => undefined); // whoever awaits it is told
  return { containers, durable, discard };
}

function unlikeWritten(file: string, cause: unknown) {
  return archiveError('archive/write-failed', 'What was written does not read back the same.', {
    file,
    advice: 'Check the disk; nothing stored before is touched.',
    cause,
  });
}

/** Writes one container durably and reads it back, opened. Throws `archive/write-failed`; then nothing is left. */
export async function writeContainer(
  archive: string,
  name: string,
  plain: Uint8Array,
  sealing: Sealer,
  check: NewContainer['check'],
): Promise<Container> {
  const staged = await stageContainers(archive, [{ name, plain: async () => plain, check }], sealing);
  try {
    await staged.durable;
  } catch (cause) {
    await staged.discard();
    throw cause;
  }
  return staged.containers[0]!;
}

/** What is inside a container: zstd(tar). Throws `archive/damaged`, `archive/wrong-key`; ENOENT as it is. */
export async function openContainer(
  archive: string,
  container: Container,
  sealing: Sealer,
): Promise<Uint8Array> {
  const file = path.join(archive, container.file);
  const bytes = await readFile(file);
  if (sha256(bytes) !== container.sha256)
    throw archiveError('archive/damaged', 'The file is not the one that was written.', {
      file,
      advice: FROM_REPLICA,
    });
  return sealing.open(bytes);
}

export const FROM_REPLICA =
  'Bring this file back from a replica; "archive verify" tells what else is affected.';

/** An opened container, single or pack. What is asked for is named by the id that has the bytes. */
export interface OpenShelf {
  /** Checks the digest of every file of a capture. Throws `archive/damaged`. */
  check(record: Pick<CaptureRecord, 'id' | 'files'>): void;
  /** The files of a capture, digests checked. Throws `archive/damaged`. */
  files(record: Pick<CaptureRecord, 'id' | 'files'>): CaptureFile[];
}

/** Opens a container. Throws `archive/damaged`; ENOENT goes through as it is. */
export async function openShelf(archive: string, shelf: Shelf, sealing: Sealer): Promise<OpenShelf> {
  const plain = await openContainer(archive, shelf.container, sealing);
  const file = path.join(archive, shelf.container.file);
  /** Everything that goes wrong in here is said of this file. */
  function of<T>(work: () => T): T {
    try {
      return work();
    } catch (cause) {
      throw damaged(file, cause);
    }
  }
  if (shelf.raw !== null) {
    const pack = await Pack.read(plain).catch((cause) => {
      throw damaged(file, cause);
    });
    return {
      check: (record) => of(() => pack.check(record)),
      files: (record) => of(() => pack.files(record)),
    };
  }
  const single = await unwrapCapture(plain).catch((cause) => {
    throw damaged(file, cause);
  });
  // Its bytes have been compared with its own record: that has to be the one asked for.
  const check = (record: Pick<CaptureRecord, 'files'>) =>
    of(() => {
      if (!isDeepStrictEqual(record.files, single.record.files))
        throw new Error('the files inside are not those captured');
    });
  return {
    check,
    files(record) {
      check(record);
      return single.files;
    },
  };
}

function damaged(file: string, cause: unknown) {
  const why = (cause as Error).message.replace(/\.$/, '');
  return archiveError('archive/damaged', `The file cannot be unpacked: ${why}.`, {
    file,
    advice: FROM_REPLICA,
    cause,
  });
}
