import { linkError } from '../errors.ts';

/** What may be put into a command line or a path: no character that a shell or a device could read as its own. */
const SAFE = /^[A-Za-z0-9._/:@%+,=][A-Za-z0-9._/:@%+,=-]*$/u;

/** Throws `links/unsafe-name` unless the value may be put into a command. `what` names it. */
export function safeValue(what: string, value: string): string {
  if (SAFE.test(value) && !value.split('/').includes('..')) return value;
  throw linkError(
    'links/unsafe-name',
    `The ${what} ${JSON.stringify(value)} must not reach the device's command line.`,
    {
      advice: 'Use letters, digits and . _ - / : @ % + , = only, no ".." and no leading "-".',
    },
  );
}

/** Throws `links/unsafe-name` unless the name of a captured file stays below its folder. */
export function safeFileName(name: string): string {
  const parts = name.split('/');
  if (parts.every((part) => part !== '' && part !== '.' && part !== '..') && !/[\0\r\n]/u.test(name))
    return name;
  throw linkError(
    'links/unsafe-name',
    `The file name ${JSON.stringify(name)} does not stay below its folder.`,
  );
}
