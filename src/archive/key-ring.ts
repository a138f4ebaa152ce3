import { readdir, readFile, stat } from 'node:fs/promises';
import path from 'node:path';
import { Decrypter, Encrypter, generateX25519Identity, identityToRecipient } from 'age-encryption';
import { makeFolder, writeDurably } from './durable.ts';
import { archiveError } from './errors.ts';
import { type ArchiveKey, encryptTo, freshKey, keyOf } from './key.ts';

/**
 * The key ring: `FOLDER/keys/NAME.age`, each an age file that holds the data key, one per way to unlock it.
 * `age -d -i FOLDER/keys/passphrase.age …` works as it stands: age takes an identity file that is itself encrypted.
 */
export const RING = 'keys';

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
    return names.filter((name) => name.endsWith('.age')).sort();
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

/**
 * Adds (or replaces) one way to unlock the key. `keyFile` is made when it does not exist.
 * `work` is age's scrypt work factor, log2 N.
 */
export async function addUnlock(
  folder: string,
  key: ArchiveKey,
  way:
    | { readonly passphrase: string; readonly work?: number }
    | { readonly keyFile: string }
    | { readonly recipient: string; readonly name: string },
): Promise<void> {
  await makeFolder(path.join(folder, RING));
  const secret = Buffer.from(`${key.identity}\n`);
  const put = (name: string, bytes: Uint8Array) =>
    writeDurably(path.join(folder, RING, `${name}.age`), bytes);
  if ('passphrase' in way) {
    if (way.passphrase === '')
      throw archiveError('archive/bad-key', 'The passphrase is empty.', {
        advice: 'Choose four or more random words.',
      });
    const encrypter = new Encrypter();
    encrypter.setScryptWorkFactor(way.work ?? WORK);
    encrypter.setPassphrase(way.passphrase);
    await put('passphrase', await encrypter.encrypt(secret));
  } else if ('keyFile' in way) {
    const identity = (await exists(way.keyFile))
      ? (await readKeyFile(way.keyFile))[0]!
      : await makeKeyFile(way.keyFile);
    await put('key-file', await encryptTo([await identityToRecipient(identity)], secret));
  } else {
    await put(way.name, await encryptTo([way.recipient], secret));
  }
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
  if (await hasKey(folder))
    throw archiveError('archive/key-exists', 'This archive has a key already.', {
      file: path.join(folder, RING),
    });
  if (ways.passphrase === undefined && ways.keyFile === undefined)
    throw archiveError('archive/no-key', 'A new archive needs a passphrase or a key file.', {
      advice: 'Set TUCKPOINT_PASSPHRASE or TUCKPOINT_KEY_FILE, or give it when asked.',
    });
  const key = await freshKey();
  const work = ways.work === undefined ? {} : { work: ways.work };
  // The key file first: the ring exists only when a way to open it does.
  if (ways.keyFile !== undefined) await addUnlock(folder, key, { keyFile: ways.keyFile });
  if (ways.passphrase !== undefined) await addUnlock(folder, key, { passphrase: ways.passphrase, ...work });
  return key;
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
  const wraps = await Promise.all(names.map((name) => readFile(path.join(folder, RING, name))));
  const identities = [
    ...(unlock.identity === undefined ? [] : [unlock.identity.trim()]),
    ...(unlock.keyFile === undefined ? [] : await readKeyFile(unlock.keyFile)),
  ];
  if (identities.length > 0) {
    const decrypter = new Decrypter();
    for (const identity of identities) {
      await keyOf(identity);
      decrypter.addIdentity(identity);
    }
    for (const wrap of wraps) {
      const found = await tryOpen(wrap, decrypter);
      if (found !== null) return keyOf(found);
    }
  }
  if (unlock.passphrase !== undefined && names.includes('passphrase.age')) {
    const passphrase = typeof unlock.passphrase === 'string' ? unlock.passphrase : await unlock.passphrase();
    const decrypter = new Decrypter();
    decrypter.addPassphrase(passphrase);
    const found = await tryOpen(wraps[names.indexOf('passphrase.age')]!, decrypter);
    if (found !== null) return keyOf(found);
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
