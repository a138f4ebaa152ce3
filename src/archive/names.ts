import { archiveError } from './errors.ts';

/** Longest file name kept, in UTF-8 bytes: what common file systems allow for a whole path. */
const LONGEST = 4000;

/**
 * Checks that a file's name can be unpacked below a folder and nowhere else. Any character may stand in a name
 * except NUL; a leading `/` is allowed (devices name files that way) and is dropped when unpacking.
 * Throws `archive/bad-name`.
 */
export function checkName(name: string): void {
  const refuse = (why: string) => {
    throw archiveError('archive/bad-name', `The file name ${JSON.stringify(name.slice(0, 200))} ${why}.`, {
      advice: 'Rename the file, with / between plain parts.',
    });
  };
  if (name.replace(/^\/+/, '') === '') refuse('is empty');
  if (name.includes('\0')) refuse('holds a NUL character');
  if (Buffer.byteLength(name) > LONGEST) refuse(`is longer than ${LONGEST} bytes`);
  if (/\p{Surrogate}/u.test(name)) refuse('is not well-formed Unicode');
  const parts = name.replace(/^\/+/, '').split('/');
  if (parts.includes('..')) refuse('climbs out of its folder with ".."');
  if (parts.includes('.') || parts.includes('')) refuse('has an empty part or the part "."');
}

/** The name below a folder: without leading slashes. */
export function pathBelow(name: string): string {
  return name.replace(/^\/+/, '');
}

/** Checks all names of one capture, and that no two fall on the same path (or one on the folder of another). */
export function checkNames(names: readonly string[]): void {
  const paths = new Set<string>();
  for (const name of names) {
    checkName(name);
    const path = pathBelow(name);
    if (paths.has(path))
      throw archiveError('archive/bad-name', `Two files are named ${JSON.stringify(path)}.`, {
        advice: 'Give each file of a capture its own name.',
      });
    paths.add(path);
  }
  for (const path of paths)
    for (let cut = path.indexOf('/'); cut !== -1; cut = path.indexOf('/', cut + 1))
      if (paths.has(path.slice(0, cut)))
        throw archiveError(
          'archive/bad-name',
          `${JSON.stringify(path.slice(0, cut))} is a file and a folder.`,
          {
            advice: 'Rename one of them.',
          },
        );
}
