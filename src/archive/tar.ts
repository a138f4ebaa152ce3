import { buffer } from 'node:stream/consumers';
import { pack } from 'tar-stream';

export interface TarEntry {
  readonly name: string;
  readonly bytes: Uint8Array;
}

/** POSIX.1-2017, pax, "ustar Interchange Format": blocks, and where the fields of a header stand. */
const BLOCK = 512;
const SIZE = 124;
const CHECKSUM = 148;
const TYPE = 156;
const MAGIC = 257;
const PREFIX = 345;

/** A tar file (pax interchange format) of plain files, with `mtime` on all of them. */
export async function packTar(entries: readonly TarEntry[], mtime: Date): Promise<Uint8Array> {
  const tar = pack();
  const whole = buffer(tar);
  for (const { name, bytes } of entries)
    tar.entry({ name, mtime, mode: 0o600 }, Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength));
  tar.finalize();
  return whole;
}

function text(header: Buffer, from: number, length: number): string {
  const end = header.indexOf(0, from);
  return header.toString('utf8', from, end === -1 || end > from + length ? from + length : end);
}

/** The records of a pax extended header: `LENGTH KEY=VALUE\n`, LENGTH counting the whole record in bytes. */
function paxRecords(body: Buffer): Map<string, string> {
  const records = new Map<string, string>();
  for (let at = 0; at < body.length; ) {
    const space = body.indexOf(' ', at);
    const length = Number(body.toString('latin1', at, space));
    if (space === -1 || !(length > 0)) throw new Error('a pax record has no length');
    const record = body.toString('utf8', space + 1, at + length - 1);
    const equals = record.indexOf('=');
    records.set(record.slice(0, equals), record.slice(equals + 1));
    at += length;
  }
  return records;
}

/**
 * The plain files of a tar file, in its order. Links, devices and folders are left out: nothing but names and bytes
 * comes out of here. Read in one go without copying (a library that streams takes ten times as long for the
 * thousands of small pieces of a pack). Throws a plain Error when it is cut short or its sums are wrong.
 */
export function unpackTar(bytes: Uint8Array): TarEntry[] {
  const tar = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const entries: TarEntry[] = [];
  let pax = new Map<string, string>();
  for (let at = 0; at + BLOCK <= tar.length; ) {
    const header = tar.subarray(at, at + BLOCK);
    if (header[0] === 0) return entries;
    if (text(header, MAGIC, 5) !== 'ustar') throw new Error('not a ustar header');
    let sum = 8 * 0x20;
    for (let i = 0; i < BLOCK; i += 1) if (i < CHECKSUM || i >= CHECKSUM + 8) sum += header[i]!;
    if (sum !== Number.parseInt(text(header, CHECKSUM, 8), 8))
      throw new Error('a header has a wrong checksum');
    const size = Number(pax.get('size') ?? Number.parseInt(text(header, SIZE, 12), 8));
    const body = tar.subarray(at + BLOCK, at + BLOCK + size);
    if (!(size >= 0) || body.length < size) throw new Error('cut short');
    at += BLOCK + Math.ceil(size / BLOCK) * BLOCK;
    const type = String.fromCharCode(header[TYPE]!);
    if (type === 'x') {
      pax = paxRecords(body);
      continue;
    }
    const prefix = text(header, PREFIX, 155);
    const name = pax.get('path') ?? (prefix === '' ? '' : `${prefix}/`) + text(header, 0, 100);
    if (type === '0' || type === '\0') entries.push({ name, bytes: body });
    pax = new Map();
  }
  throw new Error('cut short');
}
