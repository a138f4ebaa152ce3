import { configurationDigest } from '#archive';
import { codeOf, TuckpointError } from '#core/errors';
import { sentenceOf, stoppedAt } from '../machine.ts';
import type { RunContext } from '../run-context.ts';
import type { Ending, Procedure, Step } from '../step.ts';
import { apply } from '../steps/apply.ts';
import { arm, disarm, disarmBack, disarmNow } from '../steps/arm.ts';
import { capture } from '../steps/capture.ts';
import { keep } from '../steps/keep.ts';
import { firstLook, lookAgain } from '../steps/look.ts';
import { noteRestored } from '../steps/note-restored.ts';
import { checkPlanned } from '../steps/planned.ts';
import { compareAsBefore, putBack } from '../steps/put-back.ts';
import { reach } from '../steps/reach.ts';
import { compareGraft, keepPromises, readBack } from '../steps/read-back.ts';
import { reading, settledReading } from '../steps/reading.ts';
import { restart } from '../steps/restart.ts';
import { wellBooted } from '../steps/well-booted.ts';

const changes = (run: RunContext) => run.facts.nothingToDo !== true;
/** Until something broke, the run goes forward to its own decision. */
const goesOn = (run: RunContext) => changes(run) && run.facts.decision === undefined;
const kept = (run: RunContext) => run.facts.decision === 'kept';
const goesBack = (run: RunContext) => run.facts.decision === 'went back';
const hasRestarted = (run: RunContext) => run.facts.bootAt?.restart !== undefined;

/**
 * Brings a configuration onto a device: captured first, the device's own return armed, a reading, applied as a whole,
 * reached anew, read back and compared with what was predicted; then kept, or put back.
 */
function bringing(name: string, title: string, keepAlways: boolean): Procedure {
  const steps: readonly Step[] = [
    firstLook,
    capture('capture', 'captureBefore'),
    checkPlanned(keepAlways),
    {
      ...keep,
      applies: (run) => changes(run) && (keepAlways ? keep.applies?.(run) === true : keepsFirst(run)),
    },
    arm(changes),
    // With the return armed: a device may show that as an alarm, which is then there both times.
    reading('reading', 'readingBefore', changes),
    apply(goesOn),
    {
      ...restart('restart', (run) => goesOn(run) && run.facts.restartNeeded === true),
      title: 'restart, since the handbook says these files need it, and wait until the device answers',
    },
    reach(goesOn),
    lookAgain('look-after', 'after', goesOn),
    capture('capture-after', 'captureAfter', goesOn),
    readBack(goesOn),
    keepPromises(goesOn),
    settledReading('reading-after', 'readingAfter', goesOn),
    compareGraft(goesOn),
    disarm(kept),
    putBack(goesBack),
    disarmBack(goesBack),
    {
      ...restart('back-restart', (run) => goesBack(run) && hasRestarted(run)),
      title: 'restart into the configuration from before, and wait until the device answers',
    },
    lookAgain('back-look', 'back', goesBack),
    capture('back-capture', 'captureBack', goesBack),
    settledReading('back-reading', 'readingBack', goesBack),
    compareAsBefore(goesBack),
    { ...noteRestored, applies: (run) => kept(run) && run.goal.capture !== undefined },
    wellBooted((run) => (kept(run) || goesBack(run)) && hasRestarted(run)),
  ];
  return {
    name,
    title,
    steps,
    failed: (run, step, error, began) => failed(steps, run, step, error, began),
    ending,
  };
}

const keepsFirst = (run: RunContext) => run.facts.keepFirst === true;

/** Chosen parts of a configuration, planned before; or the configuration from before, when a run is undone. */
export const graft = bringing('graft', 'bring a planned configuration onto the device', false);

/** The same for a whole capture: everything is taken. */
export const restore = bringing('restore', 'bring a whole capture back onto the device', true);

/** Before anything was applied a failure means "not done"; from then on it leads back. */
async function failed(
  steps: readonly Step[],
  run: RunContext,
  step: Step,
  error: unknown,
  began: boolean,
): Promise<{ goOnWith: RunContext['facts'] } | Ending> {
  const why = sentenceOf(error);
  const [at, arming, applying] = [step.name, 'arm', 'apply'].map((n) => steps.findIndex((s) => s.name === n));
  if (at! < arming!) return { decision: 'not done', reason: why };
  if (at! <= applying! && (!began || (await untouched(run)))) {
    const still = await disarmNow(run).then(
      () => '',
      () => ' The return that was armed changes nothing when its time comes.',
    );
    return { decision: 'not done', reason: `${why} The device holds the configuration from before.${still}` };
  }
  const { decision } = run.facts;
  if (codeOf(error) === 'links/host-key-changed' || decision === 'went back') {
    const { armedUntil } = run.facts;
    const returns =
      armedUntil === undefined || decision === 'went back'
        ? ''
        : ` Unless it is reached before, the device returns by itself at about ${armedUntil}.`;
    const stopped = stoppedAt(step, error);
    return { ...stopped, reason: `${stopped.reason}${returns}` };
  }
  // After the decision to keep, only the disarming may still fail: what is not disarmed returns.
  if (decision === 'kept' && step.name !== 'disarm')
    return { decision, reason: `${run.facts.reason} ${why}` };
  const what = error instanceof TuckpointError ? error.message : why;
  return { goOnWith: { decision: 'went back', reason: `Could not ${step.title}: ${what}` } };
}

/** Does the device surely hold the configuration from before? */
async function untouched(run: RunContext): Promise<boolean> {
  try {
    return configurationDigest(await run.capture('running')) === run.facts.digestBefore;
  } catch {
    return false;
  }
}

function ending(run: RunContext): Ending {
  const { nothingToDo, decision, reason } = run.facts;
  if (nothingToDo === true)
    return {
      decision: 'done',
      reason: 'There was nothing to do: the device holds this configuration already.',
    };
  return { decision: decision ?? 'stopped', reason: reason ?? 'The run came to its end without deciding.' };
}
