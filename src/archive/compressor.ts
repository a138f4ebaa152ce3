import { compress, decompress, init } from '@bokuweb/zstd-wasm';
import { spent } from './spent.ts';

let ready: Promise<void> | undefined;

/** Level for captures as they come, which packs soon replace: a fifth of the size for typical configurations. */
const QUICK = 1;
/** Level for packs. Level 16 makes them 9 % smaller, and takes ten times as long and three times the memory. */
export const TIGHT = 9;

/** Largest content opened, in bytes, unless the caller says otherwise. Guards against bombs. */
export const LARGEST_CONTENT = 512 * 1024 * 1024;

/** One Zstandard frame (RFC 8878), as `zstd -LEVEL` makes it. */
export async function compressed(bytes: Uint8Array, level = QUICK): Promise<Uint8Array> {
  ready ??= init();
  await ready;
  spent(bytes.length);
  return compress(bytes, level);
}

/** The content size a frame declares (RFC 8878 section 3.1.1.1), or null when it declares none. */
function declaredSize(frame: Uint8Array): number | null {
  const view = Buffer.from(frame.buffer, frame.byteOffset, frame.byteLength);
  if (view.length < 6 || view.readUInt32LE(0) !== 0xfd2fb528) throw new Error('not a Zstandard frame');
  const descriptor = view[4]!;
  const sizeFlag = descriptor >> 6;
  const single = (descriptor >> 5) & 1;
  const dictionary = [0, 1, 2, 4][descriptor & 3]!;
  const at = 5 + (single === 1 ? 0 : 1) + dictionary;
  const width = sizeFlag === 0 ? single : 2 ** sizeFlag;
  if (width === 0) return null;
  if (view.length < at + width) throw new Error('cut short');
  if (width === 8) return Number(view.readBigUInt64LE(at));
  return view.readUIntLE(at, width) + (width === 2 ? 256 : 0);
}

/**
 * The content of a Zstandard frame, at most `limit` bytes. Throws a plain Error on anything else: nothing larger
 * than `limit` is ever allocated for it.
 */
export async function decompressed(bytes: Uint8Array, limit = LARGEST_CONTENT): Promise<Uint8Array> {
  ready ??= init();
  await ready;
  const declared = declaredSize(bytes);
  if (declared !== null) {
    if (declared > limit) throw new Error(`the content is larger than ${limit} bytes`);
    spent(declared);
    return decompress(bytes);
  }
  // Made by a program that did not know the size beforehand: try with more and more room.
  for (let room = Math.min(limit, Math.max(1 << 20, bytes.length * 8)); ; room = Math.min(limit, room * 8)) {
    try {
      return decompress(bytes, { defaultHeapSize: room });
    } catch (cause) {
      // Error 70 of Zstandard: the room for the content is too small.
      if (room >= limit)
        throw /-70$/.test(String(cause)) ? new Error(`the content is larger than ${limit} bytes`) : cause;
    }
  }
}
