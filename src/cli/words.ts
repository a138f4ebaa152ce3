import type { Command } from 'commander';
import type { Accepted } from '#runs';

/** Said with every command whose work can cut people off. */
export const CAUTION =
  'This work can cut people off. Have out-of-band access, the manufacturer’s instructions and your organisation’s change control at hand; local rules come first.';

const WORDS: readonly (readonly [keyof Accepted, flag: string, says: string])[] = [
  ['noReturn', '--accept-no-return', 'although this kind of device cannot return by itself'],
  ['brokenPromises', '--accept-broken-promises', 'although promises break, the way in included'],
  ['unproved', '--accept-unproved', 'and to keep what cannot be compared afterwards'],
  ['worse', '--accept-worse', 'and to keep it although the reading is worse than before'],
];

/** The user's explicit words for runs that bring a configuration onto a device. */
export function withWords(command: Command): Command {
  for (const [, flag, says] of WORDS) command.option(flag, `your explicit word to go on ${says}`);
  return command.option(
    '--accept-no-reserve',
    'your explicit word to go on without a reserve on a device with one slot',
  );
}

/** What of them was given. */
export function wordsOf(options: Readonly<Record<string, unknown>>): {
  readonly accepted?: Accepted;
  readonly acceptNoReserve?: boolean;
} {
  const given = [...WORDS.map(([word]) => word), 'warnings' as const].filter(
    (word) => options[`accept${word[0]!.toUpperCase()}${word.slice(1)}`] === true,
  );
  return {
    ...(given.length === 0 ? {} : { accepted: Object.fromEntries(given.map((word) => [word, true])) }),
    ...(options.acceptNoReserve === true ? { acceptNoReserve: true } : {}),
  };
}
