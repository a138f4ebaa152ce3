export interface TarEntry {
  readonly name: string;
  readonly bytes: Uint8Array;
}

/** POSIX.1-2017, pax, "ustar Interchange Format": blocks, and where the fields of a header stand. */
const BLOCK = 512;
const MODE = 100;
const UID = 108;
const GID = 116;
const SIZE = 124;
const MTIME = 136;
const CHECKSUM = 148;
const TYPE = 156;
const MAGIC = 257;
const PREFIX = 345;

/** Longest name that stands in a header itself, in bytes; and the largest size, in its eleven octal digits. */
const SHORT = 100;
const LARGEST = 8 ** 11 - 1;

function checksumOf(header: Uint8Array): number {
  let sum = 8 * 0x20;
  for (let i = 0; i < BLOCK; i += 1) if (i < CHECKSUM || i >= CHECKSUM + 8) sum += header[i]!;
  return sum;
}

function header(name: string, size: number, type: '0' | 'x', mtime: Date): Buffer {
  const block = Buffer.alloc(BLOCK);
  const octal = (value: number, at: number, digits: number) =>
    block.write(value.toString(8).padStart(digits, '0'), at);
  block.write(name, 0, SHORT);
  octal(0o600, MODE, 7);
  octal(0, UID, 7);
  octal(0, GID, 7);
  octal(size, SIZE, 11);
  octal(Math.max(0, Math.floor(mtime.getTime() / 1000)), MTIME, 11);
  block.write(type, TYPE);
  block.write('ustar\x0000', MAGIC);
  octal(checksumOf(block), CHECKSUM, 6);
  return block;
}

/** A record of a pax extended header; its length counts its own digits. */
function paxRecord(key: string, value: string): Buffer {
  const rest = Buffer.from(` ${key}=${value}\n`);
  let length = rest.length;
  while (String(length).length + rest.length !== length) length = String(length).length + rest.length;
  return Buffer.concat([Buffer.from(String(length)), rest]);
}

/** What stands before the bytes of a file: its header, and a pax header before it for what that cannot say. */
function headersOf({ name, bytes }: TarEntry, mtime: Date): Buffer[] {
  const plain = name.length <= SHORT && /^[\x01-\x7f]*$/.test(name);
  if (plain) return [header(name, bytes.length, '0', mtime)];
  const pax = paxRecord('path', name);
  return [header('pax', pax.length, 'x', mtime), pax, padding(pax), header('file', bytes.length, '0', mtime)];
}

function padding(bytes: Uint8Array): Buffer {
  return Buffer.alloc((BLOCK - (bytes.length % BLOCK)) % BLOCK);
}

/** A tar file (pax interchange format) of plain files, with `mtime` on all of them. Throws a plain Error for 8 GB. */
export function packTar(entries: readonly TarEntry[], mtime: Date): Uint8Array {
  const parts: Uint8Array[] = [];
  for (const entry of entries) {
    if (entry.bytes.length > LARGEST) throw new Error(`${entry.name} is too large`);
    parts.push(...headersOf(entry, mtime), entry.bytes, padding(entry.bytes));
  }
  return Buffer.concat([...parts, Buffer.alloc(2 * BLOCK)]);
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
    if (checksumOf(header) !== Number.parseInt(text(header, CHECKSUM, 8), 8))
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
