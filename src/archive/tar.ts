import { buffer } from 'node:stream/consumers';
import { extract, pack } from 'tar-stream';

export interface TarEntry {
  readonly name: string;
  readonly bytes: Uint8Array;
}

/** A tar file (POSIX.1-2001 pax interchange format) of plain files, with `mtime` on all of them. */
export async function packTar(entries: readonly TarEntry[], mtime: Date): Promise<Uint8Array> {
  const tar = pack();
  const whole = buffer(tar);
  for (const { name, bytes } of entries)
    tar.entry({ name, mtime, mode: 0o600 }, Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength));
  tar.finalize();
  return whole;
}

/** The plain files of a tar file, in its order. Other kinds of entry (links, devices, folders) are left out. */
export async function unpackTar(tar: Uint8Array): Promise<TarEntry[]> {
  const reader = extract();
  const entries: TarEntry[] = [];
  reader.end(Buffer.from(tar.buffer, tar.byteOffset, tar.byteLength));
  for await (const entry of reader) {
    const bytes = await buffer(entry);
    if (entry.header.type === 'file') entries.push({ name: entry.header.name, bytes: new Uint8Array(bytes) });
  }
  return entries;
}
