import { createHash, createPrivateKey, createPublicKey, type KeyObject, sign, verify } from 'node:crypto';

/** PKCS #8 wrapping of a bare Ed25519 seed (RFC 8410 section 7). */
const PKCS8_ED25519 = Buffer.from('302e020100300506032b657004220420', 'hex');

/**
 * The invented maker's key. It stands in the open on purpose: it signs practice images and nothing else, so that
 * anyone can make one. A stranger's key makes images that a device must refuse.
 */
function practiceKey(owner: 'maker' | 'stranger'): KeyObject {
  const seed = createHash('sha256').update(`practice release key of the ${owner}`).digest();
  return createPrivateKey({ key: Buffer.concat([PKCS8_ED25519, seed]), format: 'der', type: 'pkcs8' });
}

/** Ed25519 (RFC 8032) over the exact bytes of `release.json`: 64 bytes. */
export function signManifest(manifest: Uint8Array, owner: 'maker' | 'stranger'): Uint8Array {
  return sign(null, manifest, practiceKey(owner));
}

export function manifestIsSigned(manifest: Uint8Array, signature: Uint8Array): boolean {
  return signature.length === 64 && verify(null, manifest, createPublicKey(practiceKey('maker')), signature);
}

/** The maker's public key as PEM (RFC 8410), for checking an image with other programs. */
export function makerPublicKey(): string {
  return createPublicKey(practiceKey('maker')).export({ format: 'pem', type: 'spki' }) as string;
}
