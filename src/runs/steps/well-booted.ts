import { booted } from '#core/slots';
import { remember, runningPair } from '../look.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Remembers that the pair the run decided for has booted well on this device. */
export function wellBooted(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'record',
    title: 'record which pair has booted well here',
    applies,
    async act(run) {
      const { store, now } = run.environment;
      const seen = run.facts.back ?? run.facts.after;
      const pair = seen === undefined ? null : runningPair(seen);
      if (seen === undefined || pair === null) return undefined;
      await store.observations.bootedWell(run.device.name, pair, now(), run.id);
      const slots = booted(seen.slots, true);
      await remember(run, { ...seen, slots });
      return { [run.facts.back === undefined ? 'after' : 'back']: { ...seen, slots } };
    },
  };
}
