import { codeOf } from '#core/errors';
import { runningSlot } from '#core/slots';
import { bootedSince } from '../booted-since.ts';
import { look } from '../look.ts';
import { sentenceOf, stoppedAt } from '../machine.ts';
import type { RunContext } from '../run-context.ts';
import type { Ending, Procedure, Step } from '../step.ts';
import { capture } from '../steps/capture.ts';
import { clean } from '../steps/clean.ts';
import { compareAndDecide, compareBack } from '../steps/compare.ts';
import { checkFit } from '../steps/fit.ts';
import { goingBack } from '../steps/go-back.ts';
import { install } from '../steps/install.ts';
import { keep } from '../steps/keep.ts';
import { firstLook, lookAgain } from '../steps/look.ts';
import { reading, settledReading } from '../steps/reading.ts';
import { booting } from '../steps/restart.ts';
import { transfer } from '../steps/transfer.ts';
import { wellBooted } from '../steps/well-booted.ts';

const release = (run: RunContext) => run.goal.release;
const goesBack = (run: RunContext) => run.facts.decision === 'went back';
/** Until something broke, the run goes forward to its own decision. */
const goesOn = (run: RunContext) => run.facts.decision === undefined;
const decided = (run: RunContext) => run.facts.decision === 'kept' || goesBack(run);

/**
 * Update: fit, capture, reading, keep, transfer, install, restart, look, capture, reading, compare, then keep it or
 * go back. The reserve is the pair that ran at the start; it stays intact until the run decides.
 */
export const update: Procedure = {
  name: 'update',
  title: 'update the firmware, compare, and keep it or go back',
  steps: [
    firstLook,
    checkFit,
    capture('capture', 'captureBefore'),
    reading('reading', 'readingBefore'),
    keep,
    transfer('transfer', 'remote', release),
    transfer(
      'transfer-old',
      'oldRemote',
      (run) => run.goal.oldRelease,
      (run) => run.goal.oldRelease !== undefined,
    ),
    install('install', 'remote', release),
    booting({
      name: 'restart',
      title: 'restart into the new release and wait until the device answers',
      order: (link) => link.restart(),
      reachedCounts: 'or',
      // A power loss after the install boots the new release too. A release that runs without a boot proves none.
      reached: async (run) => {
        const now = await (await run.link()).identify();
        return now.release === release(run)?.sheet.release && bootedSince(run.facts.before?.identity, now);
      },
      applies: goesOn,
    }),
    lookAgain('look-after', 'after', goesOn),
    capture('capture-after', 'captureAfter', goesOn),
    settledReading('reading-after', 'readingAfter', goesOn),
    { ...compareAndDecide, applies: goesOn },
    ...goingBack(goesBack),
    lookAgain('back-look', 'back', goesBack),
    capture('back-capture', 'captureBack', goesBack),
    settledReading('back-reading', 'readingBack', goesBack),
    compareBack(goesBack),
    wellBooted(decided),
    clean(decided),
  ],
  failed,
  ending(run) {
    const { decision, reason } = run.facts;
    return { decision: decision ?? 'stopped', reason: reason ?? 'The run came to its end without deciding.' };
  },
};

/** Before the install a failure changes nothing that matters; from the install on it leads back where it can. */
async function failed(
  run: RunContext,
  step: Step,
  error: unknown,
): Promise<{ goOnWith: RunContext['facts'] } | Ending> {
  const { before, kept, decision } = run.facts;
  const why = sentenceOf(error);
  if (step.name === 'clean')
    return {
      decision: decision ?? 'stopped',
      reason:
        `${run.facts.reason ?? ''} The transferred file could not be removed from the device: ${why}`.trim(),
    };
  const order = update.steps.map((s) => s.name);
  if (order.indexOf(step.name) < order.indexOf('install')) return { decision: 'not done', reason: why };
  if (decision !== undefined || before === undefined) return stoppedAt(step, error);
  if (codeOf(error) === 'links/host-key-changed') return stoppedAt(step, error);
  if (step.name !== 'install') return stoppedAt(step, error);
  try {
    const now = await look(run);
    const untouched = now.slots.slots.every(({ release, configuration }, i) => {
      const was = (kept ?? before).slots.slots[i];
      return was?.release === release && was.configuration === configuration;
    });
    if (untouched && now.slots.running === before.slots.running) {
      run.facts = { ...run.facts, after: now };
      return { decision: 'not done', reason: `${why} The slots hold what they held before.` };
    }
    return {
      goOnWith: {
        decision: 'went back',
        reason: `The install failed and left ${runningSlot(now.slots).release ?? 'an unknown release'} in the running slot: ${why}`,
      },
    };
  } catch {
    return stoppedAt(step, error);
  }
}
