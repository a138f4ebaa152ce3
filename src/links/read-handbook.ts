import { readFile } from 'node:fs/promises';
import { linkError } from './errors.ts';
import { type Handbook, parseHandbook } from './handbook/index.ts';

/** Far more than any handbook; a larger file is something else. */
const MAX_BYTES = 1024 * 1024;

/**
 * Reads a handbook from a file. `shown` is the file's name as the user knows it.
 *
 * @throws HandbookError with all its mistakes; TuckpointError `links/cannot-read`.
 */
export async function readHandbook(path: string, shown: string = path): Promise<Handbook> {
  const place = { file: shown };
  let bytes: Buffer;
  try {
    bytes = await readFile(path);
  } catch (cause) {
    throw linkError('links/cannot-read', 'The handbook cannot be read.', { cause, place });
  }
  if (bytes.length > MAX_BYTES)
    throw linkError('links/cannot-read', 'The file is too large for a handbook.', { place });
  return parseHandbook(bytes.toString('utf8'), shown);
}
