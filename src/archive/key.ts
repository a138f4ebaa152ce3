import {
  createPrivateKey,
  createPublicKey,
  hkdfSync,
  type KeyObject,
  randomBytes,
  sign,
  verify,
} from 'node:crypto';
import {
  Decrypter,
  Encrypter,
  generateX25519Identity,
  type Identity,
  identityToRecipient,
} from 'age-encryption';
import { sealHeader } from './age-header.ts';
import { archiveError } from './errors.ts';
import { openPayload, sealPayload } from './payload.ts';
import { x25519Identity, x25519Recipient } from './x25519.ts';

/**
 * The data key of an archive. All of it follows from `identity`; whoever holds that reads and writes the archive.
 */
export interface ArchiveKey {
  /** An age X25519 identity, `AGE-SECRET-KEY-1…`: the secret. */
  readonly identity: string;
  /** The age recipient of it, `age1…`: not secret. */
  readonly recipient: string;
  /** Ed25519 key (RFC 8032) that signs the manifest, derived from the identity by HKDF (RFC 5869). */
  readonly signing: KeyObject;
  /** Its public half, 64 hex digits. */
  readonly verifying: string;
  /** Keys that were the data key before a rotation: what they sealed can still be opened. */
  readonly older: readonly ArchiveKey[];
}

/** Encrypts and decrypts small secrets and whole files with the data key, as age v1 files. */
export interface Sealer {
  seal(bytes: Uint8Array): Promise<Uint8Array>;
  /** Throws `archive/wrong-key` or `archive/damaged`. */
  open(bytes: Uint8Array): Promise<Uint8Array>;
}

/** RFC 8410 section 7: what stands before the 32 bytes of an Ed25519 private key in PKCS #8. */
const PKCS8_ED25519 = Buffer.from('302e020100300506032b657004220420', 'hex');

/** The data key that an age identity stands for. Throws `archive/bad-key`. */
export async function keyOf(identity: string, older: readonly ArchiveKey[] = []): Promise<ArchiveKey> {
  const text = identity.trim();
  let recipient: string;
  try {
    recipient = await identityToRecipient(text);
  } catch (cause) {
    throw archiveError('archive/bad-key', 'This is not an age identity.', {
      advice: 'It is one line that starts with AGE-SECRET-KEY-1; check it for a missing or wrong character.',
      cause,
    });
  }
  const seed = Buffer.from(hkdfSync('sha256', text, '', 'tuckpoint archive manifest signing key', 32));
  const signing = createPrivateKey({
    key: Buffer.concat([PKCS8_ED25519, seed]),
    format: 'der',
    type: 'pkcs8',
  });
  const { x } = createPublicKey(signing).export({ format: 'jwk' });
  return {
    identity: text,
    recipient,
    signing,
    verifying: Buffer.from(x!, 'base64url').toString('hex'),
    older,
  };
}

/** A fresh data key. */
export async function freshKey(): Promise<ArchiveKey> {
  return keyOf(await generateX25519Identity());
}

/** Ed25519 signature, base64. */
export function signed(key: ArchiveKey, text: string): string {
  return sign(null, Buffer.from(text), key.signing).toString('base64');
}

/** Is `signature` (base64) the Ed25519 signature of `text` by the key whose public half is `verifying` (hex)? */
export function signatureHolds(verifying: string, text: string, signature: string): boolean {
  try {
    // As JWK (RFC 8037): a tenth of the time that reading SPKI takes.
    const jwk = { kty: 'OKP', crv: 'Ed25519', x: Buffer.from(verifying, 'hex').toString('base64url') };
    const key = createPublicKey({ key: jwk, format: 'jwk' });
    return verify(null, Buffer.from(text), key, Buffer.from(signature, 'base64'));
  } catch {
    return false;
  }
}

/** Encrypts to the recipients given (age v1). */
export async function encryptTo(recipients: readonly string[], bytes: Uint8Array): Promise<Uint8Array> {
  const ours = recipients.map(x25519Recipient);
  if (!ours.every((recipient) => recipient !== null)) {
    const encrypter = new Encrypter(); // it knows other kinds too
    for (const recipient of recipients) encrypter.addRecipient(recipient);
    return encrypter.encrypt(bytes);
  }
  const fileKey = randomBytes(16);
  const stanzas = await Promise.all(ours.map((recipient) => recipient.wrapFileKey(fileKey)));
  return Buffer.concat([sealHeader(fileKey, stanzas.flat()), sealPayload(fileKey, randomBytes(16), bytes)]);
}

/** Encrypts with a passphrase (age v1, scrypt; `work` is log2 of its cost). */
export async function encryptWithPassphrase(
  passphrase: string,
  bytes: Uint8Array,
  work = 18,
): Promise<Uint8Array> {
  const encrypter = new Encrypter();
  encrypter.setScryptWorkFactor(work);
  encrypter.setPassphrase(passphrase);
  return encrypter.encrypt(bytes);
}

/** Parsed identities, kept: the same few are used for every file. */
const parsed = new Map<string, Identity | string>();

function identityFor(text: string): Identity | string {
  const known = parsed.get(text);
  if (known !== undefined) return known;
  const identity = x25519Identity(text) ?? text;
  parsed.set(text, identity);
  return identity;
}

/** The header of an age file ends with the line that starts with `---` (C2SP age.md, "Header"). */
function headerLength(bytes: Uint8Array): number {
  const file = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const mac = file.indexOf('\n--- ');
  const end = mac === -1 ? -1 : file.indexOf('\n', mac + 1);
  if (end === -1) throw new Error('there is no header');
  return end + 1;
}

/** Decrypts an age file with the identity among these that fits. Throws `archive/wrong-key` or `archive/damaged`. */
export async function decryptWith(identities: readonly string[], bytes: Uint8Array): Promise<Uint8Array> {
  const decrypter = new Decrypter();
  for (const identity of identities) decrypter.addIdentity(identityFor(identity));
  try {
    const header = bytes.subarray(0, headerLength(bytes));
    return openPayload(await decrypter.decryptHeader(header), bytes.subarray(header.length));
  } catch (cause) {
    if (/no identity matched/i.test(String(cause)))
      throw archiveError('archive/wrong-key', 'This was encrypted for another key.', { cause });
    throw archiveError('archive/damaged', 'This does not decrypt: it is damaged or not an age file.', {
      cause,
    });
  }
}

/**
 * What seals secrets and captures under the data key. `others` are further age recipients who can open what is
 * sealed (for example an escrow key of the user's organisation).
 */
export function sealer(key: ArchiveKey, others: readonly string[] = []): Sealer {
  return {
    seal: (bytes) => encryptTo([key.recipient, ...others], bytes),
    open: (bytes) => decryptWith([key.identity, ...key.older.map((older) => older.identity)], bytes),
  };
}
