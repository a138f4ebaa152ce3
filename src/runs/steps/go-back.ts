import { samePair, spareSlot } from '#core/slots';
import type { Look } from '../facts.ts';
import { look } from '../look.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { install } from './install.ts';
import { booting } from './restart.ts';

type When = (run: RunContext) => boolean;

/** The way back: boot the slot that holds the reserve; with one slot, install the old release and restore the capture. */
export function goingBack(when: When): readonly Step[] {
  const oneSlot: When = (run) => when(run) && slotsOf(run) === 1;
  const twoSlots: When = (run) => when(run) && slotsOf(run) === 2;
  return [
    booting({
      name: 'back-boot',
      title: 'boot the slot that holds the reserve and wait until the device answers',
      operation: () => ({ name: 'boot', slot: 'spare' }),
      order: async (link, run) => link.boot(runsReserve(run, await look(run)) ? 'running' : 'spare'),
      reached: async (run) => {
        const seen = await look(run);
        return (
          runsReserve(run, seen) && seen.slots.restartDue !== true && seen.slots.next === seen.slots.running
        );
      },
      applies: twoSlots,
    }),
    install('back-install', 'oldRemote', (run) => run.goal.oldRelease, oneSlot),
    restoreCapture(oneSlot),
    booting({
      name: 'back-restart',
      title: 'restart into the old release and wait until the device answers',
      order: (link) => link.restart(),
      applies: oneSlot,
    }),
  ];
}

/** Does the device run from a slot that holds the pair it ran at the start? */
function runsReserve(run: RunContext, seen: Look): boolean {
  const reserve = run.facts.before?.slots.slots[run.facts.before.slots.running];
  const running = seen.slots.slots[seen.slots.running];
  if (reserve === undefined || running === undefined) return false;
  if (reserve.configuration === null) return running.release === reserve.release;
  const spare = spareSlot(seen.slots);
  return samePair(running, reserve) && (spare === null || seen.identity.release === reserve.release);
}

function slotsOf(run: RunContext): number {
  return run.facts.before?.slots.slots.length ?? 0;
}

function restoreCapture(applies: When): Step {
  return {
    name: 'back-apply',
    title: 'apply the configuration captured at the start',
    pointOfNoReturn: true,
    applies,
    async observe(run) {
      const { slots } = await look(run);
      return slots.slots[slots.running]?.configuration === run.facts.digestBefore;
    },
    async act(run) {
      const { captureBefore } = run.facts;
      if (captureBefore === undefined) return undefined;
      const { files } = await run.environment.archive.get(captureBefore);
      await (await run.link()).apply(files);
      return undefined;
    },
  };
}
