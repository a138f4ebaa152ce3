import type { Facts } from '../facts.ts';
import { firstSight, look } from '../look.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

export const firstLook: Step = {
  name: 'look',
  title: 'see who answers and what each slot holds',
  async act(run) {
    const { store, now } = run.environment;
    return { before: await firstSight(store, run.device.name, await run.link(), now(), run.id) };
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
