import { stat } from 'node:fs/promises';
import { type FillIns, fillInsFromWords, joinFillIns, readFillIns } from '#runs';
import { fileText } from './file-text.ts';

/**
 * Fill-ins as named on the command line: files (`.yaml`, `.csv`) and pairs `TEXT=VALUE`; pairs win over files.
 * @throws TuckpointError `cli/cannot-read`, `config/fill-in`.
 */
export async function fillInsNamed(words: readonly string[]): Promise<FillIns> {
  const files: string[] = [];
  const pairs: string[] = [];
  for (const word of words) {
    const isFile = /\.(ya?ml|json|csv)$/i.test(word) || (await stat(word).catch(() => null)) !== null;
    (isFile ? files : pairs).push(word);
  }
  const read = files.map(async (file) => readFillIns(await fileText(file, 'fill-ins'), file));
  return joinFillIns([fillInsFromWords(pairs), ...(await Promise.all(read))]);
}
