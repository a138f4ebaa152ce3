import type { DeviceFacts } from '#links/port';

/** Does a change of files need a restart, and by what rule? */
export interface Restart {
  readonly needed: boolean;
  /** One sentence. */
  readonly why: string;
}

/** The handbook's rules for the files that change. */
export function restartFor(
  changed: readonly string[],
  facts: Pick<DeviceFacts, 'applyNeedsRestart'>,
): Restart {
  if (changed.length === 0) return { needed: false, why: 'No file changes.' };
  const asking = changed.filter((name) => facts.applyNeedsRestart([name]));
  return asking.length > 0
    ? { needed: true, why: `The handbook asks for a restart after a change of ${asking.join(', ')}.` }
    : { needed: false, why: `The handbook asks for none after a change of ${changed.join(', ')}.` };
}
