import { createHash } from 'node:crypto';

/** Sizes of a piece in bytes: never smaller (but for the last), about, never larger. */
const SMALLEST = 1024;
const TYPICAL = 4096;
const LARGEST = 16384;

/** One 32-bit number per byte value; any well-mixed numbers do. They only decide where pieces end. */
const GEAR = Uint32Array.from({ length: 256 }, (_, byte) =>
  createHash('sha256').update(Uint8Array.of(byte)).digest().readUInt32LE(0),
);

/**
 * Cuts bytes into pieces where their content says so (a rolling "gear" hash over the last 32 bytes), so that a
 * change in one place changes one or two pieces and leaves all others as they were, wherever they have moved to.
 * The pieces joined in order are the bytes.
 */
export function cutIntoPieces(bytes: Uint8Array): Uint8Array[] {
  const pieces: Uint8Array[] = [];
  let start = 0;
  let hash = 0;
  for (let at = 0; at < bytes.length; at += 1) {
    hash = ((hash << 1) + GEAR[bytes[at]!]!) | 0;
    const size = at + 1 - start;
    // The top bits have seen the most bytes.
    if ((size >= SMALLEST && hash >>> 0 < 2 ** 32 / (TYPICAL - SMALLEST)) || size >= LARGEST) {
      pieces.push(bytes.subarray(start, at + 1));
      start = at + 1;
    }
  }
  if (start < bytes.length || bytes.length === 0) pieces.push(bytes.subarray(start));
  return pieces;
}
