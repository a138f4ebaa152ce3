import { createHash, randomBytes } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import ssh2 from 'ssh2';
import { writeDurably } from '../disk/durable.ts';

/** An SSH key of its own in a folder; made the first time. Returns the private key in OpenSSH's format. */
export function keyIn(folder: string, name: string): string {
  const file = join(folder, name);
  if (!existsSync(file)) makeKey(folder, name);
  return readFileSync(file, 'utf8');
}

/** Makes a new Ed25519 key, over an old one if there is one; the public half goes to `NAME.pub`. */
export function makeKey(folder: string, name: string): void {
  mkdirSync(folder, { recursive: true });
  // About one in 250 keys that ssh2 1.17 makes is malformed: it strips a leading zero of the public half.
  let pair = ssh2.utils.generateKeyPairSync('ed25519', { comment: name });
  while (!isSound(pair.private) || !isSound(pair.public)) {
    pair = ssh2.utils.generateKeyPairSync('ed25519', { comment: name });
  }
  writeDurably(join(folder, `${name}.pub`), `${pair.public}\n`, 0o644);
  writeDurably(join(folder, name), pair.private);
}

const isSound = (key: string): boolean => !(ssh2.utils.parseKey(key) instanceof Error);

/** The key's fingerprint as OpenSSH writes it: `SHA256:` and unpadded base64. */
export function fingerprint(privateKey: string): string {
  const parsed = ssh2.utils.parseKey(privateKey);
  if (parsed instanceof Error) throw parsed;
  const digest = createHash('sha256').update(parsed.getPublicSSH()).digest('base64');
  return `SHA256:${digest.replace(/=+$/, '')}`;
}

/** How to get into one device; made the first time and kept in its folder. */
export interface Access {
  readonly port: number;
  readonly user: string;
  readonly password: string;
  readonly upkeepWord: string;
}

const word = () => randomBytes(9).toString('base64url');

/**
 * The port lies below the ranges that systems lend to outgoing connections (RFC 6335 section 6 starts those at
 * 49152, Linux at 32768), so that nobody takes it while the device boots.
 */
export const somePort = (): number => 20_000 + Math.floor(Math.random() * 12_000);

export function readAccess(folder: string): Access {
  const file = join(folder, 'access.json');
  if (!existsSync(file)) {
    writeAccess(folder, { port: somePort(), user: 'keeper', password: word(), upkeepWord: word() });
  }
  return JSON.parse(readFileSync(file, 'utf8')) as Access;
}

export function writeAccess(folder: string, access: Access): void {
  writeDurably(join(folder, 'access.json'), `${JSON.stringify(access, null, 1)}\n`);
}
