import { refusalOf, runningSlot, spareSlot } from '#core/slots';
import { bootedSince } from '../booted-since.ts';
import { sentenceOf, stoppedAt } from '../machine.ts';
import { refused } from '../refused.ts';
import type { RunContext } from '../run-context.ts';
import type { Ending, Procedure, Step } from '../step.ts';
import { capture } from '../steps/capture.ts';
import { compareAfterwards } from '../steps/compare.ts';
import { keep, recover } from '../steps/keep.ts';
import { firstLook, lookAgain } from '../steps/look.ts';
import { reading, settledReading } from '../steps/reading.ts';
import { booting, restart, shutdown } from '../steps/restart.ts';
import { wellBooted } from '../steps/well-booted.ts';

const always = () => true;

/** Before anything was changed a failure means "not done"; from then on a person has to look. */
async function failed(step: Step, error: unknown, began: boolean, steps: readonly Step[]): Promise<Ending> {
  const turn = steps.findIndex((s) => s.pointOfNoReturn === true);
  const at = steps.indexOf(step);
  const before = turn === -1 || at < turn || (at === turn && !began);
  return before ? { decision: 'not done', reason: sentenceOf(error) } : stoppedAt(step, error);
}

function procedure(
  name: string,
  title: string,
  steps: readonly Step[],
  done: (run: RunContext) => string,
): Procedure {
  return {
    name,
    title,
    steps,
    failed: (_run, step, error, began) => failed(step, error, began, steps),
    ending: (run) => ({ decision: run.facts.decision ?? 'done', reason: run.facts.reason ?? done(run) }),
  };
}

/** After a boot that the user asked for: look, capture, reading, and the comparison with before. */
const afterBoot: readonly Step[] = [
  lookAgain('look-after', 'after'),
  capture('capture-after', 'captureAfter'),
  settledReading('reading-after', 'readingAfter', always),
  compareAfterwards,
  wellBooted((run) => run.facts.comparison?.verdict !== 'worse'),
];

export const bootSlot = procedure(
  'boot',
  'boot the device from a slot and see how it is afterwards',
  [
    firstLook,
    {
      name: 'may-boot',
      title: 'check that the slot holds something to boot, and that there is a way back',
      async act(run) {
        const { before } = run.facts;
        const slot = run.goal.slot ?? 'spare';
        if (before === undefined) return undefined;
        const word = run.goal.acceptNoReserve === true;
        const refusal = refusalOf(before.slots, { name: 'boot', slot }, (await run.deviceFacts()).kind, {
          word,
        });
        if (refusal !== null) throw refused(refusal);
        const { slots, running } = before.slots;
        const wanted = slots[slot === 'running' ? running : 1 - running];
        return wanted === undefined ? undefined : { wantedSlot: wanted.id };
      },
    },
    capture('capture', 'captureBefore'),
    reading('reading', 'readingBefore'),
    booting({
      name: 'boot',
      title: 'order the boot and wait until the device answers',
      operation: (goal) => ({ name: 'boot', slot: goal.slot ?? 'spare' }),
      order: (link, run) => link.boot(run.goal.slot ?? 'spare'),
      reached: async (run) => {
        const link = await run.link();
        const booted = bootedSince(run.facts.bootAt?.boot, await link.identify());
        return booted && (await link.slots()).running === run.facts.wantedSlot;
      },
    }),
    ...afterBoot,
  ],
  (run) => {
    const after = run.facts.after;
    return after === undefined
      ? 'The device booted.'
      : `The device runs ${after.identity.release} from slot ${runningSlot(after.slots).id}.`;
  },
);

export const restartDevice = procedure(
  'restart',
  'restart the device and see how it is afterwards',
  [
    firstLook,
    capture('capture', 'captureBefore'),
    reading('reading', 'readingBefore'),
    restart(),
    ...afterBoot,
  ],
  (run) => `The device came back and runs ${run.facts.after?.identity.release ?? 'an unknown release'}.`,
);

export const shutdownDevice = procedure(
  'shutdown',
  'shut the device down in order',
  [firstLook, capture('capture', 'captureBefore'), reading('reading', 'readingBefore'), shutdown],
  () => 'The device no longer answers. It boots again when its power is switched on at the site.',
);

export const keepSlot = procedure(
  'keep',
  'copy the running slot to the spare',
  // Asked for by name it is refused where there is no spare slot; inside other runs it is then left out.
  [firstLook, capture('capture', 'captureBefore'), { ...keep, applies: always }],
  (run) => {
    const spare = run.facts.kept === undefined ? null : spareSlot(run.facts.kept.slots);
    return `The spare slot holds ${spare?.release ?? 'the running release'} with the running configuration.`;
  },
);

export const recoverSlot = procedure(
  'recover',
  'copy the spare slot over the running one',
  [firstLook, capture('capture', 'captureBefore'), recover],
  () => 'The running slot holds what the spare holds. A restart is due before the device runs from it.',
);

export const captureDevice = procedure(
  'capture',
  'capture the running configuration',
  [firstLook, capture('capture', 'captureBefore')],
  (run) => `Capture ${run.facts.captureBefore} is in the archive, verified.`,
);

export const roundOfOne = procedure(
  'round',
  'capture the running configuration and take a reading',
  [firstLook, capture('capture', 'captureBefore'), reading('reading', 'readingBefore')],
  (run) => `Capture ${run.facts.captureBefore} is in the archive, verified, and a reading was taken.`,
);

export const readDevice = procedure(
  'reading',
  'take a reading',
  [firstLook, reading('reading', 'readingBefore')],
  () => 'The reading was taken.',
);
