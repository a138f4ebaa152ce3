import { createHash } from 'node:crypto';

/**
 * A host key as it is pinned: its type and the SHA-256 of its public part, `ssh-ed25519 SHA256:…`, in the form that
 * OpenSSH prints (ssh-keygen(1), -l). The type is part of it so that only this type is asked for next time: a device that
 * gains a further key does not look like another device.
 */
export function fingerprintOf(publicKey: Uint8Array): string {
  const blob = Buffer.from(publicKey);
  // RFC 4253 section 6.6: a public key begins with its type as a string (a length of four bytes, then the text).
  const type = blob.subarray(4, 4 + blob.readUInt32BE(0)).toString('latin1');
  const digest = createHash('sha256').update(blob).digest('base64').replace(/=+$/u, '');
  return `${type} SHA256:${digest}`;
}

/** Is the shown key the pinned one? A pinned text without a type (`SHA256:…`) pins a key of any type. */
export function isPinned(pinned: string, shown: string): boolean {
  return pinned === shown || (!pinned.includes(' ') && shown.endsWith(` ${pinned}`));
}

/** The signature algorithms that prove a key of the pinned type (RFC 8332 for RSA); null: any. */
export function algorithmsFor(pinned: string): string[] | null {
  if (!pinned.includes(' ')) return null;
  const type = pinned.split(' ')[0] ?? '';
  return type === 'ssh-rsa' ? ['rsa-sha2-512', 'rsa-sha2-256', 'ssh-rsa'] : [type];
}
