import { readFile } from 'node:fs/promises';
import { z } from 'zod';
import { type ArchiveKey, signatureHolds, signed } from './key.ts';

/**
 * The head of a manifest: its last line's number and the chain's hash there, signed. Kept outside the archive, it
 * shows later that the manifest was not cut or put back to an earlier state. It tells nothing about devices.
 */
export interface Head {
  readonly last: number;
  readonly hash: string;
}

const schema = z.object({
  last: z.int().nonnegative(),
  hash: z.string(),
  signature: z.string(),
  by: z.string(),
});

/** Room for any number of a line. */
const LENGTH = 320;

function signedText(head: Head): string {
  return `tuckpoint head\n${head.last}\n${head.hash}\n`;
}

/** Always of the same length, so that it can be written over another. */
export function headText(head: Head, key: ArchiveKey): string {
  const { last, hash } = head;
  const text = JSON.stringify({ last, hash, signature: signed(key, signedText(head)), by: key.verifying });
  return `${text.padEnd(LENGTH)}\n`;
}

/** The head in this text, or null when it is none or its signature does not hold. */
export function parseHead(text: string, trusted: ReadonlySet<string>): Head | null {
  try {
    const head = schema.parse(JSON.parse(text));
    return trusted.has(head.by) && signatureHolds(head.by, signedText(head), head.signature) ? head : null;
  } catch {
    return null;
  }
}

/** The head in a file, or null when there is none or its signature does not hold. */
export async function readHead(file: string, trusted: ReadonlySet<string>): Promise<Head | null> {
  return parseHead(await readFile(file, 'utf8').catch(() => ''), trusted);
}
