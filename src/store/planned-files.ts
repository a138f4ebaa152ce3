import { fromJson, toJson } from './json.ts';
import type { Sealer } from './sealer.ts';

/** A file of a configuration. Secrets may stand in it, so it is never stored but sealed. */
export interface PlannedFile {
  readonly name: string;
  readonly bytes: Uint8Array;
}

export async function sealFiles(sealer: Sealer, files: readonly PlannedFile[]): Promise<Uint8Array> {
  const plain = files.map(({ name, bytes }) => ({ name, base64: Buffer.from(bytes).toString('base64') }));
  return await sealer.seal(new TextEncoder().encode(toJson(plain)));
}

/** Throws what the sealer throws when the key is not the one they were sealed with. */
export async function openFiles(sealer: Sealer, sealed: Uint8Array): Promise<PlannedFile[]> {
  const text = new TextDecoder().decode(await sealer.open(new Uint8Array(sealed)));
  const plain = fromJson<{ name: string; base64: string }[]>(text);
  return plain.map(({ name, base64 }) => ({ name, bytes: new Uint8Array(Buffer.from(base64, 'base64')) }));
}
