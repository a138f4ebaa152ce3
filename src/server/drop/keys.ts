import { createHash } from 'node:crypto';
import ssh2 from 'ssh2';
import { TuckpointError } from '#core/errors';

/** SHA-256 of a public key's bytes, hex: what is kept of it. */
export function bytesDigest(key: Uint8Array): string {
  return createHash('sha256').update(key).digest('hex');
}

/** The public half of a key, as one line of an OpenSSH `.pub` file. Throws `server/bad-key`. */
export function keyDigest(line: string): string {
  const key = ssh2.utils.parseKey(line.trim());
  if (key instanceof Error || key.isPrivateKey())
    throw new TuckpointError('server/bad-key', 'This is not a public SSH key.', {
      advice: 'Give the .pub file: one line such as "ssh-ed25519 AAAA… comment".',
    });
  return bytesDigest(key.getPublicSSH());
}

/** A new host key (Ed25519, OpenSSH format). */
export function freshHostKey(): string {
  // About one in 250 keys that ssh2 1.17 makes is malformed: it strips a leading zero of the public half.
  for (;;) {
    const pair = ssh2.utils.generateKeyPairSync('ed25519', { comment: 'drop' });
    const sound = [pair.private, pair.public].every((key) => !(ssh2.utils.parseKey(key) instanceof Error));
    if (sound) return pair.private;
  }
}

/** The fingerprint of a host key as OpenSSH writes it: `SHA256:` and unpadded base64. */
export function fingerprintOf(privateKey: string): string {
  const key = ssh2.utils.parseKey(privateKey);
  if (key instanceof Error) throw key;
  const digest = createHash('sha256').update(key.getPublicSSH()).digest('base64');
  return `SHA256:${digest.replace(/=+$/, '')}`;
}
