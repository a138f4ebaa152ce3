import { existsSync } from 'node:fs';
import { type ArchiveKey, createKey, hasKey, LOSING_THE_KEY, unlockFrom, unlockKey } from '#archive';
import { type Output, passphraseFrom } from '#cli';
import { codeOf } from '#core/errors';
import { defaultKeyFile } from './data-folder.ts';

/**
 * The key of the data folder, unlocked by passphrase, key file or environment; made at first use, after saying what
 * losing it means. Throws `archive/no-key`, `archive/wrong-key`, `archive/bad-key`.
 */
export async function keyFor(folder: string, out: Output): Promise<ArchiveKey> {
  const given = unlockFrom(process.env);
  const keyFile = given.keyFile ?? defaultKeyFile(process.env);
  if (await hasKey(folder)) {
    const ask = process.stdin.isTTY
      ? () => passphraseFrom(undefined, 'Passphrase of the archive: ')
      : undefined;
    const unlock = { ...given, passphrase: given.passphrase ?? ask };
    return await unlockKey(folder, existsSync(keyFile) ? { ...unlock, keyFile } : unlock);
  }
  const passphrase = typeof given.passphrase === 'string' ? given.passphrase : undefined;
  const ways = passphrase === undefined ? { keyFile } : { passphrase };
  out.warn(LOSING_THE_KEY);
  out.warn(
    passphrase === undefined
      ? `The key file is ${keyFile}. Keep a copy of it in another place.`
      : 'The key opens with the passphrase in TUCKPOINT_PASSPHRASE.',
  );
  return await createKey(folder, ways).catch((error: unknown) => {
    // Another process made it in the same instant.
    if (codeOf(error) !== 'archive/key-exists') throw error;
    return unlockKey(folder, { ...given, keyFile });
  });
}
