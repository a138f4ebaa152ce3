import { Decrypter } from 'age-encryption';
import { LARGEST_CONTENT } from './compressor.ts';
import { unwrapCapture, wrapCapture } from './container.ts';
import { listingDigest } from './digest.ts';
import { archiveError } from './errors.ts';
import { encryptTo, encryptWithPassphrase } from './key.ts';
import type { Capture, NewCapture } from './port.ts';

/** For whom a capture is exported: a passphrase to tell them, or their age recipients (`age1…`). */
export type For =
  | { readonly passphrase: string; readonly work?: number }
  | { readonly recipients: readonly string[] };

/** What opens an exported file: the passphrase, or age identities. */
export type With = { readonly passphrase: string } | { readonly identities: readonly string[] };

/**
 * One file for another person: age(zstd(tar)) of `capture.json` and `files/…`. Opens with
 * `age -d FILE | zstd -d | tar -x`. Throws `archive/bad-key`.
 */
export async function exportCapture({ record, files }: Capture, to: For): Promise<Uint8Array> {
  const plain = await wrapCapture(record, files);
  try {
    if ('recipients' in to) return await encryptTo(to.recipients, plain);
    if (to.passphrase === '') throw new Error('empty');
    return await encryptWithPassphrase(to.passphrase, plain, to.work);
  } catch (cause) {
    const what =
      'recipients' in to
        ? `${to.recipients.join(', ')} is not an age recipient.`
        : 'The passphrase is empty.';
    throw archiveError('archive/bad-key', what, {
      advice: 'A recipient is one line that starts with age1, as age-keygen prints it.',
      cause,
    });
  }
}

/**
 * Reads an exported file back, to be `put` as an import. Time, device, release and slot are those it had. Throws
 * `archive/wrong-key`, `archive/bad-import`. Nothing larger than `limit` bytes is unpacked.
 */
export async function importCapture(
  bytes: Uint8Array,
  open: With,
  limit = LARGEST_CONTENT,
): Promise<NewCapture> {
  const decrypter = new Decrypter();
  if ('passphrase' in open) decrypter.addPassphrase(open.passphrase);
  else for (const identity of open.identities) decrypter.addIdentity(identity);
  let plain: Uint8Array;
  try {
    plain = await decrypter.decrypt(bytes);
  } catch (cause) {
    if (/no identity matched|passphrase/i.test(String(cause)))
      throw archiveError(
        'archive/wrong-key',
        'passphrase' in open
          ? 'The passphrase does not open this file.'
          : 'This file is encrypted for someone else.',
        { advice: 'Ask the one who sent it.', cause },
      );
    throw archiveError('archive/bad-import', 'This is not an exported capture, or it is damaged.', {
      advice: 'Ask for the file again.',
      cause,
    });
  }
  try {
    const { record, files } = await unwrapCapture(plain, limit);
    if (listingDigest(record.files) !== record.digest) throw new Error('its digest is not that of its files');
    const { device, at, release, slot } = record;
    return { device, at, source: 'import', release, slot, run: null, files };
  } catch (cause) {
    throw archiveError('archive/bad-import', `The file holds no capture: ${(cause as Error).message}.`, {
      cause,
    });
  }
}
