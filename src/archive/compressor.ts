import { compress, decompress, init } from '@bokuweb/zstd-wasm';

let ready: Promise<void> | undefined;

/** Level for captures as they come: fast, a tenth of the size for typical configurations. */
export const QUICK = 6;
/** Level for packs, which are written once and kept for years. */
export const TIGHT = 19;

/** One Zstandard frame (RFC 8878), as `zstd -LEVEL` makes it. */
export async function compressed(bytes: Uint8Array, level = QUICK): Promise<Uint8Array> {
  ready ??= init();
  await ready;
  return compress(bytes, level);
}

/** The content of a Zstandard frame. Throws a plain Error on anything else. */
export async function decompressed(bytes: Uint8Array): Promise<Uint8Array> {
  ready ??= init();
  await ready;
  return decompress(bytes);
}
