import {
  createCipheriv,
  createDecipheriv,
  createPrivateKey,
  createPublicKey,
  diffieHellman,
  generateKeyPairSync,
  hkdfSync,
  type KeyObject,
} from 'node:crypto';
import { bech32 } from '@scure/base';
import { type Identity, type Recipient, Stanza } from 'age-encryption';

/**
 * The X25519 stanza of age (C2SP age.md, "The X25519 recipient type") with Node's own cryptography. The package that
 * does all the rest of age has one too, which goes through Web Cryptography and takes ten times as long: most of the
 * time of storing an unchanged capture.
 */
const INFO = 'age-encryption.org/v1/X25519';
const TYPE = 'X25519';
const NO_NONCE = Buffer.alloc(12);

/** RFC 8410 section 7: what stands before the 32 bytes of a private key in PKCS #8. */
const PKCS8 = Buffer.from('302e020100300506032b656e04220420', 'hex');

/** The key of 32 bytes that are kept as text: an identity of the user's. */
function privateKeyOf(bytes: Uint8Array): KeyObject {
  return createPrivateKey({ key: Buffer.concat([PKCS8, bytes]), format: 'der', type: 'pkcs8' });
}

/**
 * A fresh pair: the private key, and the 32 bytes of the public one. Made as bytes, and read as JWK (RFC 8037), a tenth of
 * the time that reading PKCS #8 takes. Not made as key objects: in Node 20 the job that made a pair, when it is collected,
 * locks the mutex that an export of that pair as JWK holds, and if both fall together the process stands still for good.
 */
function freshPair(): { readonly privateKey: KeyObject; readonly share: Buffer } {
  const pair = generateKeyPairSync('x25519', {
    publicKeyEncoding: { type: 'spki', format: 'der' },
    privateKeyEncoding: { type: 'pkcs8', format: 'der' },
  });
  // RFC 8410: both end with the 32 bytes of the key.
  const share = pair.publicKey.subarray(-32);
  const d = pair.privateKey.subarray(-32).toString('base64url');
  const key = { kty: 'OKP', crv: 'X25519', d, x: share.toString('base64url') };
  return { privateKey: createPrivateKey({ key, format: 'jwk' }), share };
}

function publicKey(bytes: Uint8Array): KeyObject {
  const x = Buffer.from(bytes).toString('base64url');
  return createPublicKey({ key: { kty: 'OKP', crv: 'X25519', x }, format: 'jwk' });
}

/** The 32 bytes of the public key of a private one. */
function publicBytesOf(key: KeyObject): Buffer {
  return Buffer.from(createPublicKey(key).export({ format: 'jwk' }).x!, 'base64url');
}

function wrapKey(
  privateKey: KeyObject,
  theirs: Uint8Array,
  share: Uint8Array,
  recipient: Uint8Array,
): Buffer {
  const shared = diffieHellman({ privateKey, publicKey: publicKey(theirs) });
  if (shared.every((byte) => byte === 0)) throw new Error('the share is of low order');
  return Buffer.from(hkdfSync('sha256', shared, Buffer.concat([share, recipient]), INFO, 32));
}

/** For an `age1…` recipient; null for another kind of recipient (leave it to the package). */
export function x25519Recipient(text: string): Recipient | null {
  if (!/^age1[02-9ac-hj-np-z]{58}$/.test(text)) return null;
  const { bytes: recipient } = bech32.decodeToBytes(text);
  return {
    wrapFileKey(fileKey) {
      const { privateKey, share } = freshPair();
      const key = wrapKey(privateKey, recipient, share, recipient);
      const cipher = createCipheriv('chacha20-poly1305', key, NO_NONCE, { authTagLength: 16 });
      const body = Buffer.concat([cipher.update(fileKey), cipher.final(), cipher.getAuthTag()]);
      return [new Stanza([TYPE, share.toString('base64').replace(/=+$/, '')], new Uint8Array(body))];
    },
  };
}

/** For an `AGE-SECRET-KEY-1…` identity; null for another kind. Throws a plain Error for a mistyped one. */
export function x25519Identity(text: string): Identity | null {
  if (!text.startsWith('AGE-SECRET-KEY-1')) return null;
  const { bytes } = bech32.decodeToBytes(text);
  const secret = privateKeyOf(bytes);
  const recipient = publicBytesOf(secret);
  return {
    unwrapFileKey(stanzas) {
      for (const { args, body } of stanzas) {
        if (args[0] !== TYPE) continue;
        const share = Buffer.from(args[1] ?? '', 'base64');
        if (args.length !== 2 || share.length !== 32 || body.length !== 32)
          throw new Error('the X25519 stanza is malformed');
        if (share.toString('base64').replace(/=+$/, '') !== args[1])
          throw new Error('its share is not canonical');
        const wrap = wrapKey(secret, share, share, recipient);
        const decipher = createDecipheriv('chacha20-poly1305', wrap, NO_NONCE, { authTagLength: 16 });
        decipher.setAuthTag(body.subarray(16));
        const fileKey = decipher.update(body.subarray(0, 16));
        try {
          decipher.final();
        } catch {
          continue; // for another recipient
        }
        return new Uint8Array(fileKey);
      }
      return null;
    },
  };
}
