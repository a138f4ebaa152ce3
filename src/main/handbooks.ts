import { existsSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { TuckpointError } from '#core/errors';
import { type Handbook, parseHandbook } from '#links/handbook';

/** Handbooks that ship with Tuckpoint, found from the source tree and from the built command alike. */
function shipped(): string {
  let folder = path.dirname(fileURLToPath(import.meta.url));
  while (!existsSync(path.join(folder, 'package.json'))) {
    const above = path.dirname(folder);
    if (above === folder) break;
    folder = above;
  }
  return path.join(folder, 'handbooks');
}

/** Where a handbook lies that is named by path, or by the name of one that ships. */
export function handbookFile(named: string): string {
  const own = path.join(shipped(), `${named}.yaml`);
  return /^[\w-]+$/.test(named) && existsSync(own) ? own : path.resolve(named);
}

/** Throws `links/handbook` with file and line for every mistake, `links/no-handbook` when it cannot be read. */
export async function loadHandbook(named: string): Promise<Handbook> {
  const file = handbookFile(named);
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    throw new TuckpointError('links/no-handbook', 'The handbook cannot be read.', {
      place: { file },
      cause,
      advice: 'Check the path in the device’s entry.',
    });
  }
  return parseHandbook(text, file);
}
