import { readdir, readFile, stat, unlink } from 'node:fs/promises';
import path from 'node:path';
import { Decrypter, generateX25519Identity, identityToRecipient } from 'age-encryption';
import { makeFolder, syncFolder, writeDurably } from './durable.ts';
import { archiveError } from './errors.ts';
import { type ArchiveKey, encryptTo, encryptWithPassphrase, freshKey, keyOf } from './key.ts';
import { WriterLock } from './lock.ts';

/**
 * The key ring: `FOLDER/keys/NAME.age`, each an age file that holds the data key, one per way to unlock it.
 * `age -d -i FOLDER/keys/passphrase.age …` works as it stands: age takes an identity file that is itself encrypted.
 */
export const RING = 'keys';
/** Not ways to unlock: the next key, sealed under the present one during a rotation; older keys, sealed likewise. */
const NEXT = 'next';
const OLDER = 'older';

/** Ways to unlock the data key. The first that fits is used. */
export interface Unlock {
  /** The passphrase, or what asks the user for it (called only when it is needed). */
  readonly passphrase?: string | (() => Promise<string>) | undefined;
  /** Path of an age identity file, as `age-keygen` writes it. */
  readonly keyFile?: string | undefined;
  /** An age identity, `AGE-SECRET-KEY-1…` (a key file's content, or the printed recovery key). */
  readonly identity?: string | undefined;
}

/** What a user should read before a key is made. */
export const LOSING_THE_KEY =
  'Everything in the archive is encrypted under this key. Nobody can open it without the passphrase, the key file or ' +
  'the printed recovery key: not the maker of this program either. Keep at least two of them, in two places, ' +
  'and none of them only inside the archive.';

/** The ways to unlock given in the environment: TUCKPOINT_PASSPHRASE, TUCKPOINT_KEY_FILE, TUCKPOINT_KEY. */
export function unlockFrom(environment: Readonly<Record<string, string | undefined>>): Unlock {
  return {
    passphrase: environment.TUCKPOINT_PASSPHRASE,
    keyFile: environment.TUCKPOINT_KEY_FILE,
    identity: environment.TUCKPOINT_KEY,
  };
}

async function wrapNames(folder: string): Promise<string[]> {
  try {
    const names = await readdir(path.join(folder, RING));
    const inner = [`${NEXT}.age`, `${OLDER}.age`];
    return names.filter((name) => name.endsWith('.age') && !inner.includes(name)).sort();
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'ENOENT') return [];
    throw cause;
  }
}

/** Does the archive have a key already? */
export async function hasKey(folder: string): Promise<boolean> {
  return (await wrapNames(folder)).length > 0;
}

/** The identities in an age identity file: its lines, without comments. Throws `archive/bad-key`. */
export async function readKeyFile(file: string): Promise<string[]> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    throw archiveError('archive/bad-key', 'The key file cannot be read.', {
      file,
      advice: 'Check its path and its permissions.',
      cause,
    });
  }
  const lines = text.split('\n').map((line) => line.trim());
  const identities = lines.filter((line) => line.startsWith('AGE-SECRET-KEY-'));
  if (identities.length === 0)
    throw archiveError('archive/bad-key', 'The key file holds no age identity.', {
      file,
      advice: 'It needs a line that starts with AGE-SECRET-KEY-1, as age-keygen writes it.',
    });
  return identities;
}

/** Writes a new age identity file, in the form of `age-keygen`. Never replaces a file. */
async function makeKeyFile(file: string): Promise<string> {
  const identity = await generateX25519Identity();
  const recipient = await identityToRecipient(identity);
  await makeFolder(path.dirname(file));
  await writeDurably(file, Buffer.from(`# public key: ${recipient}\n${identity}\n`));
  return identity;
}

async function exists(file: string): Promise<boolean> {
  return stat(file).then(
    () => true,
    () => false,
  );
}

/** age's scrypt work factor (log2 N) for passphrases. */
const WORK = 18;

/** Not secret: the recipient of the data key, and of each way that is not a passphrase, beside its `.age` file. */
const recipientFile = (folder: string, name: string) => path.join(folder, RING, `${name}.recipient`);
const DATA = 'data';

/** A way to unlock the key. */
export type Way =
  | {
      readonly passphrase: string /** age's scrypt work factor, log2 N. */;
      readonly work?: number | undefined;
    }
  /** An age identity file; made when it does not exist. */
  | { readonly keyFile: string }
  /** An age recipient whose identity someone else keeps, and a name for it. */
  | { readonly recipient: string; readonly name: string };

/** Adds (or replaces) one way to unlock the key. Throws `archive/bad-key`. */
export async function addUnlock(folder: string, key: ArchiveKey, way: Way): Promise<void> {
  await makeFolder(path.join(folder, RING));
  const secret = Buffer.from(`${key.identity}\n`);
  await writeDurably(recipientFile(folder, DATA), Buffer.from(`${key.recipient}\n`));
  if ('passphrase' in way) {
    if (way.passphrase === '')
      throw archiveError('archive/bad-key', 'The passphrase is empty.', {
        advice: 'Choose four or more random words.',
      });
    await writeDurably(
      wrapFile(folder, 'passphrase'),
      await encryptWithPassphrase(way.passphrase, secret, way.work ?? WORK),
    );
    return;
  }
  const name = 'keyFile' in way ? 'key-file' : way.name;
  const recipient = 'keyFile' in way ? await recipientOfKeyFile(way.keyFile) : way.recipient;
  const sealed = await encryptTo([recipient], secret).catch((cause) => {
    throw archiveError('archive/bad-key', `${recipient} is not an age recipient.`, {
      advice: 'It is one line that starts with age1, as age-keygen prints it.',
      cause,
    });
  });
  await writeDurably(wrapFile(folder, name), sealed);
  await writeDurably(recipientFile(folder, name), Buffer.from(`${recipient}\n`));
}

function wrapFile(folder: string, name: string): string {
  return path.join(folder, RING, `${name}.age`);
}

async function recipientOfKeyFile(file: string): Promise<string> {
  const identity = (await exists(file)) ? (await readKeyFile(file))[0]! : await makeKeyFile(file);
  return identityToRecipient(identity);
}

/**
 * Makes a recovery key: a way to unlock that is meant for paper. The answer is its identity, shown once and kept
 * nowhere. A second one replaces the first.
 */
export async function makeRecoveryKey(folder: string, key: ArchiveKey): Promise<string> {
  const identity = await generateX25519Identity();
  await addUnlock(folder, key, { recipient: await identityToRecipient(identity), name: 'recovery' });
  return identity;
}

/**
 * Makes the data key of a new archive and stores it under every way given (at least one). Show `LOSING_THE_KEY`
 * before. Throws `archive/key-exists`, `archive/no-key`.
 */
export async function createKey(
  folder: string,
  ways: {
    readonly passphrase?: string | undefined;
    readonly keyFile?: string | undefined;
    readonly work?: number;
  },
): Promise<ArchiveKey> {
  await makeFolder(folder);
  // Two processes may meet a folder without a key at the same instant: the second must not replace the first's key.
  const lock = new WriterLock(folder);
  try {
    return await lock.alone(() => makeKey(folder, ways));
  } finally {
    await lock.close();
  }
}

async function makeKey(folder: string, ways: Parameters<typeof createKey>[1]): Promise<ArchiveKey> {
  if (await hasKey(folder))
    throw archiveError('archive/key-exists', 'This archive has a key already.', {
      file: path.join(folder, RING),
    });
  if (ways.passphrase === undefined && ways.keyFile === undefined)
    throw archiveError('archive/no-key', 'A new archive needs a passphrase or a key file.', {
      advice: 'Set TUCKPOINT_PASSPHRASE or TUCKPOINT_KEY_FILE, or give it when asked.',
    });
  const key = await freshKey();
  // The key file first: the ring exists only when a way to open it does.
  if (ways.keyFile !== undefined) await addUnlock(folder, key, { keyFile: ways.keyFile });
  if (ways.passphrase !== undefined)
    await addUnlock(folder, key, { passphrase: ways.passphrase, work: ways.work });
  return key;
}

/** What follows from the key that a way opened: the key that replaces it during a rotation, and the older ones. */
async function currentKey(folder: string, identity: string): Promise<ArchiveKey> {
  const sealed = (name: string) => readFile(wrapFile(folder, name)).catch(() => null);
  const next = await sealed(NEXT);
  const replaced = next === null ? null : await tryOpen(next, decrypterOf([identity]));
  const current = replaced?.trim() ?? identity;
  const older = await sealed(OLDER);
  const text = older === null ? null : await tryOpen(older, decrypterOf([current, identity]));
  const lines = (text ?? '').split('\n').filter((line) => line !== '' && line !== current);
  return keyOf(current, await Promise.all(lines.map((line) => keyOf(line))));
}

function decrypterOf(identities: readonly string[]): Decrypter {
  const decrypter = new Decrypter();
  for (const identity of identities) decrypter.addIdentity(identity.trim());
  return decrypter;
}

/**
 * Makes a new data key and stores it under every way the old one had. A passphrase way needs the passphrase (the
 * same or a new one). Whatever moment this is killed at, every way opens the archive before and after. What is
 * encrypted already stays under the old key, which the new one can open, until `rewrap` has been through.
 */
export async function rotateKey(
  folder: string,
  key: ArchiveKey,
  passphrase?: string | undefined,
  work?: number,
): Promise<ArchiveKey> {
  const names = await wrapNames(folder);
  if (names.includes('passphrase.age') && passphrase === undefined)
    throw archiveError('archive/no-key', 'The archive has a passphrase, and the new key needs one.', {
      advice: 'Give the passphrase, the same or a new one.',
    });
  const unfinished = await exists(wrapFile(folder, NEXT));
  const fresh = unfinished ? key : await keyOf((await freshKey()).identity, [key, ...key.older]);
  if (!unfinished) {
    const olders = Buffer.from([key, ...key.older].map((one) => `${one.identity}\n`).join(''));
    await writeDurably(wrapFile(folder, OLDER), await encryptTo([fresh.recipient, key.recipient], olders));
    await writeDurably(
      wrapFile(folder, NEXT),
      await encryptTo([key.recipient], Buffer.from(`${fresh.identity}\n`)),
    );
  }
  for (const name of names.map((file) => file.slice(0, -'.age'.length))) {
    if (name === 'passphrase') {
      await addUnlock(folder, fresh, { passphrase: passphrase!, work });
    } else {
      const recipient = (await readFile(recipientFile(folder, name), 'utf8')).trim();
      await addUnlock(folder, fresh, { recipient, name });
    }
  }
  await unlink(wrapFile(folder, NEXT));
  await syncFolder(path.join(folder, RING));
  return fresh;
}

async function tryOpen(bytes: Uint8Array, decrypter: Decrypter): Promise<string | null> {
  try {
    return await decrypter.decrypt(bytes, 'text');
  } catch {
    return null;
  }
}

/** Unlocks the data key of an archive. Throws `archive/no-key`, `archive/wrong-key`, `archive/bad-key`. */
export async function unlockKey(folder: string, unlock: Unlock): Promise<ArchiveKey> {
  const names = await wrapNames(folder);
  if (names.length === 0)
    throw archiveError('archive/no-key', 'There is no key here.', {
      file: path.join(folder, RING),
      advice: 'Bring back the folder "keys" from a replica, or start a new archive.',
    });
  const identities = [
    ...(unlock.identity === undefined ? [] : [unlock.identity.trim()]),
    ...(unlock.keyFile === undefined ? [] : await readKeyFile(unlock.keyFile)),
  ];
  const data = await readFile(recipientFile(folder, DATA), 'utf8').catch(() => '');
  for (const identity of identities)
    if ((await keyOf(identity)).recipient === data.trim()) return currentKey(folder, identity);
  for (const name of identities.length > 0 ? names : []) {
    const found = await tryOpen(await readFile(path.join(folder, RING, name)), decrypterOf(identities));
    if (found !== null) return currentKey(folder, found.trim());
  }
  if (unlock.passphrase !== undefined && names.includes('passphrase.age')) {
    const passphrase = typeof unlock.passphrase === 'string' ? unlock.passphrase : await unlock.passphrase();
    const decrypter = new Decrypter();
    decrypter.addPassphrase(passphrase);
    const found = await tryOpen(await readFile(wrapFile(folder, 'passphrase')), decrypter);
    if (found !== null) return currentKey(folder, found.trim());
    throw archiveError('archive/wrong-key', 'The passphrase does not open this archive.', {
      advice: 'Check it and try again, or use the key file or the recovery key.',
    });
  }
  if (identities.length > 0)
    throw archiveError('archive/wrong-key', 'The key given does not open this archive.', {
      advice: `It can be opened by: ${names.map((name) => name.slice(0, -4)).join(', ')}.`,
    });
  throw archiveError('archive/no-key', 'The archive is locked, and no passphrase or key was given.', {
    advice: 'Set TUCKPOINT_PASSPHRASE, TUCKPOINT_KEY_FILE or TUCKPOINT_KEY.',
  });
}
