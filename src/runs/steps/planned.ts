import { configurationDigest } from '#archive';
import { TuckpointError } from '#core/errors';
import { type Refusal, refusalOf, spareSlot } from '#core/slots';
import type { NamedFile } from '#links/port';
import { changedNames } from '../compare-traffic.ts';
import type { Facts } from '../facts.ts';
import { promisesKept } from '../graft/promises-kept.ts';
import { wantedFiles } from '../graft/wanted-files.ts';
import { warningsFor } from '../graft/warnings-for.ts';
import { refused } from '../refused.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { missing } from './transfer.ts';

/**
 * May the configuration be applied? It must have been planned on what the device holds, leave the way in open, and
 * there must be a way back. Nothing is touched before this. `keepAlways`: copy to the spare first where there is one.
 */
export function checkPlanned(keepAlways: boolean): Step {
  return {
    name: 'planned',
    title: 'check that the device holds what this was planned on, and that there is a way in and a way back',
    async act(run): Promise<Facts> {
      const { captureBefore, digestBefore, before } = run.facts;
      if (captureBefore === undefined || before === undefined) throw missing('capture');
      const { plannedOn } = run.goal;
      const wanted = await wantedFiles(run);
      if (configurationDigest(wanted) === digestBefore) return { nothingToDo: true };
      if (plannedOn !== undefined && plannedOn !== digestBefore) throw changedSincePlanned(run);
      const { files } = await run.environment.archive.get(captureBefore);
      const restartNeeded = (await run.deviceFacts()).applyNeedsRestart(changedNames(files, wanted));
      const warnings = await checkWarnings(run);
      await checkPromised(run, files, wanted);
      const keepFirst = await checkWayBack(run, restartNeeded, keepAlways);
      return { nothingToDo: false, restartNeeded, keepFirst, warnings };
    },
  };
}

/** The code by which a graft is planned anew. */
export const CHANGED_SINCE_PLANNED = 'runs/changed-since-planned';

function changedSincePlanned(run: RunContext): TuckpointError {
  const { undoes } = run.goal;
  return new TuckpointError(
    CHANGED_SINCE_PLANNED,
    undoes === undefined
      ? `${run.device.name} no longer holds the configuration that this was planned on; nothing was changed.`
      : `${run.device.name} no longer holds what run ${undoes} left; nothing was changed.`,
    {
      advice:
        undoes === undefined
          ? `Plan it again on capture ${run.facts.captureBefore}, which was just taken.`
          : `Undo what came later first; "tuckpoint diff" shows it. To lose it, restore the capture from before: "tuckpoint restore ${run.device.name} ${run.goal.capture}".`,
    },
  );
}

async function checkWarnings(run: RunContext): Promise<readonly string[]> {
  // Taking back a run's own change brings the device's own configuration of that day.
  if (run.goal.capture === undefined || run.goal.undoes !== undefined) return [];
  const found = await warningsFor(
    run.environment,
    run.device.name,
    run.goal.capture,
    run.reading,
    run.facts.before,
  );
  const heavy = found.filter(({ weight }) => weight === 'heavy');
  if (heavy.length > 0 && run.goal.accepted?.warnings !== true) {
    throw refused({
      sentence: heavy.map(({ sentence }) => sentence).join(' '),
      advice: 'Nothing was changed. --accept-warnings is your explicit word to go on.',
    });
  }
  return found.map(({ sentence }) => sentence);
}

async function checkPromised(
  run: RunContext,
  before: readonly NamedFile[],
  wanted: readonly NamedFile[],
): Promise<void> {
  if (run.goal.accepted?.brokenPromises === true) return;
  const { newlyBroken } = await promisesKept(
    run.device,
    run.goal.promises ?? [],
    before,
    wanted,
    run.reading,
  );
  if (newlyBroken.length === 0) return;
  throw refused({
    sentence: `The new configuration would break what must hold: ${newlyBroken.join('; ')}.`,
    advice: 'Nothing was changed. --accept-broken-promises is your explicit word to go on.',
  });
}

/** Is there a way back? Gives whether the running slot is to be copied to the spare first. */
async function checkWayBack(run: RunContext, restart: boolean, keepAlways: boolean): Promise<boolean> {
  const { before } = run.facts;
  if (before === undefined) throw missing('before');
  const { canArmReturn, kind } = await run.deviceFacts();
  if (!canArmReturn && run.goal.accepted?.noReturn !== true) {
    throw refused({
      sentence: `${run.device.name} cannot return by itself when a configuration cuts it off: its handbook has no armed return.`,
      advice:
        'Have access to its console, then say so with --accept-no-return. Where the kind can do it, add armReturn and disarmReturn to the handbook.',
    });
  }
  if (kind.slots === 2) return keepAlways || !canArmReturn || spareSlot(before.slots)?.bootedWell !== true;
  // A device that returns by itself holds its way back; a boot may be what it does not survive.
  const word = run.goal.acceptNoReserve === true || (canArmReturn && !restart);
  const standing = { captureVerified: run.facts.captureBefore !== undefined, word };
  const refusal = refusalOf(before.slots, { name: 'apply', configuration: 'new' }, kind, standing);
  if (refusal !== null) throw refused({ ...refusal, advice: adviceFor(refusal) });
  return false;
}

function adviceFor({ reason, advice }: Refusal): string {
  return reason === 'no-way-back' ? `${advice} (--accept-no-reserve is your explicit word.)` : advice;
}
