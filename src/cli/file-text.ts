import { readFile } from 'node:fs/promises';
import { TuckpointError } from '#core/errors';

/** The text of a file the user named; `what` it holds, for the sentence. Throws `cli/cannot-read`. */
export async function fileText(file: string, what: string): Promise<string> {
  return await readFile(file, 'utf8').catch((cause: unknown) => {
    throw new TuckpointError('cli/cannot-read', `The ${what} cannot be read.`, { place: { file }, cause });
  });
}
