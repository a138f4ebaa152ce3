import { createHash, createPrivateKey, createPublicKey, type KeyObject } from 'node:crypto';

/** PKCS #8 in front of an Ed25519 seed (RFC 8410 section 7). */
const PKCS8_ED25519 = Buffer.from('302e020100300506032b657004220420', 'hex');

function keyFrom(seedText: string): KeyObject {
  const seed = createHash('sha256').update(seedText).digest();
  return createPrivateKey({ key: Buffer.concat([PKCS8_ED25519, seed]), format: 'der', type: 'pkcs8' });
}

/**
 * The invented maker's signing key. Anyone who reads this line has it: it is the same in every lab, so that an
 * image made for one fits another, and it must never be trusted outside a lab.
 */
export const makerKey = keyFrom('maker of Groyne gateways, lab only');

/** A key the gateways do not know, for images whose signature does not verify. */
export const strangerKey = keyFrom('not the maker of Groyne gateways, lab only');

/** The maker's public key as the gateways hold it (SubjectPublicKeyInfo, PEM). */
export const makerPublicPem = createPublicKey(makerKey).export({ type: 'spki', format: 'pem' }).toString();
