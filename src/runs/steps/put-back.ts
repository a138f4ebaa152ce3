import { configurationDigest } from '#archive';
import { codeOf } from '#core/errors';
import { compareReadings } from '#core/reading';
import type { NamedFile } from '#links/port';
import { worseInWords } from '../decision.ts';
import type { Facts } from '../facts.ts';
import { comparePrediction } from '../graft/as-predicted.ts';
import { silenceSeconds } from '../graft/return-time.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { missing } from './transfer.ts';

type When = (run: RunContext) => boolean;

/**
 * The way back: the configuration captured before is applied, or, where the device does not let the workbench in any
 * more, has come back by the device's own return.
 */
export function putBack(applies: When): Step {
  return {
    name: 'back-apply',
    title: 'put the configuration from before back, or wait until the device has returned to it',
    pointOfNoReturn: true,
    applies,
    async act(run): Promise<Facts | undefined> {
      const files = await filesBefore(run);
      const facts = await run.deviceFacts();
      const restart = run.facts.restartNeeded === true;
      const seconds = facts.canArmReturn ? silenceSeconds(facts, restart) : facts.limits.commandSeconds;
      let given = false;
      await run.dropLink();
      await run.waitFor(seconds, 'did not come back to its former configuration', async (link) => {
        if (isBack(run, files, await link.capture('running'))) return true;
        given = true;
        try {
          await link.apply(files);
        } catch (error) {
          // The device may be returning by itself at this moment.
          if (codeOf(error) !== 'links/refused') throw error;
        }
        return isBack(run, files, await link.capture('running'));
      });
      // What is seen is that it holds it; that the new one was ever in force may not have been.
      const itself =
        run.facts.armedUntil === undefined ? '' : ': it returned by itself, or never took the new one up';
      const how = given
        ? 'The workbench put the configuration from before back.'
        : `The device holds the configuration from before, without an order to put it back${itself}.`;
      return { reason: `${run.facts.reason ?? ''} ${how}`.trim() };
    },
  };
}

/** Is the device as it was before the run? */
export function compareAsBefore(applies: When): Step {
  return {
    name: 'back-compare',
    title: 'compare with before the run',
    applies,
    async act(run): Promise<Facts> {
      const { readingBefore, readingBack, captureBack, reason } = run.facts;
      if (readingBefore === undefined || readingBack === undefined) throw missing('readings');
      if (captureBack === undefined) throw missing('capture');
      const comparison = compareReadings(readingBefore, readingBack);
      const { files } = await run.environment.archive.get(captureBack);
      const doubts = [
        isBack(run, await filesBefore(run), files) ? null : 'its configuration is not the one from before',
        comparison.verdict === 'worse' ? worseInWords(comparison) : null,
      ].filter((doubt) => doubt !== null);
      if (doubts.length === 0) return { comparisonBack: comparison };
      return {
        comparisonBack: comparison,
        decision: 'stopped',
        reason: `${reason ?? ''} Gone back, but the device is not as before: ${doubts.join('; ')}.`.trim(),
      };
    },
  };
}

function isBack({ reading }: RunContext, before: readonly NamedFile[], now: readonly NamedFile[]): boolean {
  if (configurationDigest(before) === configurationDigest(now)) return true;
  return comparePrediction(before, now, reading).verdict === 'as predicted';
}

async function filesBefore(run: RunContext): Promise<readonly NamedFile[]> {
  const { captureBefore } = run.facts;
  if (captureBefore === undefined) throw missing('capture');
  return (await run.environment.archive.get(captureBefore)).files;
}
