import { hash } from 'node:crypto';
import { z } from 'zod';
import { codeOf } from '#core/errors';
import { compressed, decompressed } from './compressor.ts';
import { type Entry, entrySchema } from './entry.ts';
import { archiveError } from './errors.ts';
import { type ArchiveKey, type Sealer, signatureHolds, signed } from './key.ts';
import { spent } from './spent.ts';

/**
 * A segment: consecutive lines of the manifest in one file, `FIRST-LAST.jsonl.zst.age`. Each line is one entry as
 * JSON; the last line is the seal. Every entry is chained to all before it:
 * hash(n) = SHA-256(hash(n-1) as 32 bytes, then the bytes of line n without its newline); hash(0) is 32 zero bytes.
 */
export interface Segment {
  readonly seal: Seal;
  /** The text of each line, exactly: what the chain is made of. Made when asked for. */
  lines(): string[];
  /** The lines read, one at a time. Throws `archive/damaged` at one that is malformed or out of order. */
  entries(): Generator<Entry>;
}

const sealSchema = z.object({
  /** hash(FIRST - 1) and hash(LAST), hex. */
  previous: z.string().regex(/^[0-9a-f]{64}$/),
  hash: z.string().regex(/^[0-9a-f]{64}$/),
  /** Ed25519 over `signedText`, base64, and the key that made it (hex). */
  signature: z.string(),
  by: z.string().regex(/^[0-9a-f]{64}$/),
});
export type Seal = z.infer<typeof sealSchema>;

/** Lines FIRST to LAST, both included, counted from 1. */
export interface Span {
  readonly first: number;
  readonly last: number;
}

/** What is made while a line is read takes about so many times its bytes. */
const LINE_READ = 8;

export const NO_HASH = '0'.repeat(64);

/** Where a segment stands, from its file's name; null for names that are not of segments. */
export function segmentSpan(name: string): Span | null {
  const match = /^(\d{8,})-(\d{8,})\.jsonl\.zst\.age$/.exec(name);
  return match === null ? null : { first: Number(match[1]), last: Number(match[2]) };
}

export function segmentName(first: number, last: number): string {
  const digits = (n: number) => String(n).padStart(8, '0');
  return `${digits(first)}-${digits(last)}.jsonl.zst.age`;
}

/** The hash of the chain after one more line. */
export function chained(previous: string, line: string | Uint8Array): string {
  return hash('sha256', Buffer.concat([Buffer.from(previous, 'hex'), Buffer.from(line)]));
}

/** What the seal signs: the place in the chain and all that is before it. */
function signedText(last: number, hash: string): string {
  return `tuckpoint manifest\n${last}\n${hash}\n`;
}

/** Lines and seal as one encrypted file. `lines` are the JSON texts of the entries up to `last`. */
export async function writeSegment(
  lines: readonly string[],
  last: number,
  previous: string,
  key: ArchiveKey,
  sealing: Sealer,
  level?: number,
): Promise<Uint8Array> {
  const end = lines.reduce(chained, previous);
  const seal: Seal = {
    previous,
    hash: end,
    signature: signed(key, signedText(last, end)),
    by: key.verifying,
  };
  const text = `${[...lines, JSON.stringify(seal)].join('\n')}\n`;
  return sealing.seal(await compressed(Buffer.from(text), level));
}

/**
 * Opens a segment's file and checks encryption, length, hash and signature; `entries` checks the form of each line.
 * `trusted` are the signing keys (hex) that may have sealed it. Throws `archive/damaged`, `archive/wrong-key`.
 */
export async function readSegment(
  file: string,
  span: Span,
  bytes: Uint8Array,
  sealing: Sealer,
  trusted: ReadonlySet<string>,
): Promise<Segment> {
  const damaged = (message: string, cause?: unknown) =>
    archiveError('archive/damaged', message, { file, cause });
  const plain = await sealing.open(bytes);
  try {
    const text = await decompressed(plain);
    spent(text.length * LINE_READ);
    const lines = linesOf(text);
    const seal = sealSchema.parse(JSON.parse(lines.pop()?.toString() ?? ''));
    if (lines.length !== span.last - span.first + 1)
      throw damaged('The segment does not hold the lines it is named for.');
    if (lines.reduce(chained, seal.previous) !== seal.hash) throw damaged('The lines do not match the seal.');
    if (!trusted.has(seal.by) || !signatureHolds(seal.by, signedText(span.last, seal.hash), seal.signature))
      throw damaged('The signature of the seal does not hold.');
    return {
      seal,
      lines: () => lines.map((line) => line.toString()),
      entries: () => entriesOf(lines, span, damaged),
    };
  } catch (cause) {
    if (codeOf(cause) !== undefined) throw cause;
    throw damaged('The segment cannot be read.', cause);
  }
}

/** The lines of a text, as bytes: texts of thousands of lines, of which each is looked at once, need not be in memory twice. */
function linesOf(bytes: Uint8Array): Buffer[] {
  const text = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const lines: Buffer[] = [];
  for (let at = 0; ; ) {
    const end = text.indexOf('\n', at);
    if (end === -1) return lines;
    lines.push(text.subarray(at, end));
    at = end + 1;
  }
}

function* entriesOf(
  lines: readonly Buffer[],
  { first }: Span,
  damaged: (message: string, cause?: unknown) => Error,
): Generator<Entry> {
  for (const [i, line] of lines.entries()) {
    let entry: Entry;
    try {
      entry = entrySchema.parse(JSON.parse(line.toString()));
    } catch (cause) {
      throw damaged('The segment cannot be read.', cause);
    }
    if (entry.seq !== first + i) throw damaged('The lines are out of order.');
    yield entry;
  }
}
