import { booted } from '#core/slots';
import type { Facts } from '../facts.ts';
import { look, remember, runningPair } from '../look.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/**
 * First look. The pair the device runs from now counts as booted well: it runs, it answers, and every later reading
 * is compared with how it is doing now.
 */
export const firstLook: Step = {
  name: 'look',
  title: 'see who answers and what each slot holds',
  async act(run) {
    const seen = await look(run);
    const { store, now } = run.environment;
    const pair = runningPair(seen);
    if (pair === null) return { before: seen };
    await store.observations.bootedWell(run.device.name, pair, now(), run.id);
    const slots = booted(seen.slots, true);
    await remember(run, { ...seen, slots });
    return { before: { ...seen, slots } };
  },
};

/** A later look, remembered as `after` or `back`. */
export function lookAgain(name: string, key: 'after' | 'back', applies?: (run: RunContext) => boolean): Step {
  return {
    name,
    title: 'see what runs now and what each slot holds',
    ...(applies === undefined ? {} : { applies }),
    async act(run): Promise<Facts> {
      return { [key]: await look(run) };
    },
  };
}
