import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { compressed, decompressed } from './compressor.ts';
import { configurationDigest, sha256 } from './digest.ts';
import { makeFolder, writeDurably } from './durable.ts';
import type { Container } from './entry.ts';
import { archiveError } from './errors.ts';
import type { Sealer } from './key.ts';
import { pathBelow } from './names.ts';
import type { CaptureFile, CaptureRecord } from './port.ts';
import { packTar, unpackTar } from './tar.ts';

/** Where the files of a capture stand in its tar, beside `capture.json` with its record. */
const FILES = 'files/';

/** Name of the container that line `seq` of the manifest brings, below the archive's folder. */
export function containerName(seq: number): string {
  const number = String(seq).padStart(8, '0');
  return `captures/${number.slice(0, -3)}/${number}.tar.zst.age`;
}

/** Writes one capture as age(zstd(tar)) and reads it back: opened, unpacked, digests compared. */
export async function writeContainer(
  archive: string,
  name: string,
  record: CaptureRecord,
  files: readonly CaptureFile[],
  sealing: Sealer,
): Promise<Container> {
  const tar = await packTar(
    [
      { name: 'capture.json', bytes: Buffer.from(`${JSON.stringify(record, null, 2)}\n`) },
      ...files.map((file) => ({ name: FILES + pathBelow(file.name), bytes: file.bytes })),
    ],
    new Date(record.at),
  );
  const bytes = await sealing.seal(await compressed(tar));
  const container = { file: name, size: bytes.length, sha256: sha256(bytes) };
  const file = path.join(archive, name);
  await makeFolder(path.dirname(file));
  await writeDurably(file, bytes);
  const back = await readContainer(archive, container, record, sealing);
  if (configurationDigest(back) !== record.digest)
    throw archiveError('archive/write-failed', 'What was written does not read back the same.', {
      file,
      advice: 'Check the disk.',
    });
  return container;
}

/** The files of a capture, every digest checked. Throws `archive/damaged`; ENOENT goes through as it is. */
export async function readContainer(
  archive: string,
  container: Container,
  record: Pick<CaptureRecord, 'files'>,
  sealing: Sealer,
): Promise<CaptureFile[]> {
  const file = path.join(archive, container.file);
  const damaged = (message: string, cause?: unknown) =>
    archiveError('archive/damaged', message, {
      file,
      advice: 'Bring this file back from a replica; "archive verify" tells what else is affected.',
      cause,
    });
  const bytes = await readFile(file);
  if (sha256(bytes) !== container.sha256) throw damaged('The file is not the one that was written.');
  const tar = await unpackTar(await decompressed(await sealing.open(bytes))).catch((cause) => {
    throw damaged('The file cannot be unpacked.', cause);
  });
  const inside = new Map(tar.map((entry) => [entry.name, entry.bytes]));
  return record.files.map(({ name, sha256: wanted }) => {
    const content = inside.get(FILES + pathBelow(name));
    if (content === undefined) throw damaged(`The file ${name} is not inside.`);
    if (sha256(content) !== wanted)
      throw damaged(`The file ${name} inside is not the one that was captured.`);
    return { name, bytes: content };
  });
}
