import { existsSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { type Handbook, readHandbook } from '#links';

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
function handbookFile(named: string): string {
  const own = path.join(shipped(), `${named}.yaml`);
  return /^[\w-]+$/.test(named) && existsSync(own) ? own : path.resolve(named);
}

/** Throws what `readHandbook` throws. */
export function loadHandbook(named: string): Promise<Handbook> {
  return readHandbook(handbookFile(named));
}
