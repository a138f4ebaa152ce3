import type { Operation } from '#core/slots';
import type { ChosenRelease } from '../facts.ts';
import { look } from '../look.ts';
import { verifySlots } from '../refused.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { missing } from './transfer.ts';

/** Installs a transferred release into the slot the handbook names. */
export function install(
  name: string,
  key: 'remote' | 'oldRemote',
  choose: (run: RunContext) => ChosenRelease | undefined,
  applies?: (run: RunContext) => boolean,
): Step {
  const holds = async (run: RunContext) => {
    const { slots } = await look(run);
    return { slots, yes: slots.slots[await target(run)]?.release === choose(run)?.sheet.release };
  };
  return {
    name,
    title: 'install the release',
    operation: (goal) => installOf(key === 'remote' ? goal.release : goal.oldRelease),
    pointOfNoReturn: true,
    ...(applies === undefined ? {} : { applies }),
    async observe(run) {
      return (await holds(run)).yes;
    },
    async act(run) {
      const file = run.facts[key];
      if (file === undefined) throw missing(key);
      await (await run.link()).install(file);
      return undefined;
    },
    async verify(run) {
      const { slots, yes } = await holds(run);
      verifySlots(yes, slots, `release ${choose(run)?.sheet.release} in the slot it was to be installed in`);
      return undefined;
    },
  };
}

/** Index of the slot an install writes, counted from the slot the device ran from at the start of the run. */
async function target(run: RunContext): Promise<number> {
  const { kind } = await run.deviceFacts();
  const running = run.facts.before?.slots.running ?? 0;
  return kind.slots === 2 && kind.installWrites === 'spare' ? 1 - running : running;
}

function installOf(chosen: ChosenRelease | undefined): Operation | null {
  return chosen === undefined ? null : { name: 'install', release: chosen.sheet.release };
}
