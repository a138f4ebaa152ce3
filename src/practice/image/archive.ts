import { Readable } from 'node:stream';
import { extract, pack } from 'tar-stream';
import type { Files } from '../disk/content.ts';

/** Thrown for bytes that are no whole tar archive. */
export class CutShort extends Error {}

/** Packs files into a tar archive (POSIX.1-2001, ustar). No times: the same files give the same bytes. */
export async function packFiles(files: Files): Promise<Buffer> {
  const archive = pack();
  const chunks: Buffer[] = [];
  const done = (async () => {
    for await (const chunk of archive) chunks.push(chunk as Buffer);
  })();
  for (const [name, bytes] of files) archive.entry({ name, mtime: new Date(0) }, Buffer.from(bytes));
  archive.finalize();
  await done;
  return Buffer.concat(chunks);
}

/** Unpacks a tar archive. Throws CutShort when it ends early: two blocks of zeros must close it (ustar). */
export async function unpackFiles(bytes: Uint8Array): Promise<Map<string, Uint8Array>> {
  const whole = Buffer.from(bytes);
  const end = whole.subarray(-1024);
  if (whole.length % 512 !== 0 || end.length < 1024 || end.some((byte) => byte !== 0)) throw new CutShort();
  const files = new Map<string, Uint8Array>();
  const archive = extract();
  try {
    Readable.from([whole]).pipe(archive);
    for await (const entry of archive) {
      const chunks: Buffer[] = [];
      for await (const chunk of entry) chunks.push(chunk as Buffer);
      files.set(entry.header.name, Buffer.concat(chunks));
    }
  } catch (error) {
    throw new CutShort('the archive cannot be read', { cause: error });
  }
  return files;
}
