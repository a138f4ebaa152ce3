/** Closes bytes so that only the holder of the key can open them. */
export interface Sealer {
  seal(bytes: Uint8Array): Promise<Uint8Array>;
  open(bytes: Uint8Array): Promise<Uint8Array>;
}
