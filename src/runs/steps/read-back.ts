import { configurationDigest } from '#archive';
import { compareReadings } from '#core/reading';
import { compareTraffic } from '../compare-traffic.ts';
import type { Facts } from '../facts.ts';
import { comparePrediction } from '../graft/as-predicted.ts';
import { decideGraft } from '../graft/decide-graft.ts';
import { promisesKept } from '../graft/promises-kept.ts';
import { wantedFiles } from '../graft/wanted-files.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { missing } from './transfer.ts';

type When = (run: RunContext) => boolean;

/** Compares what the device now holds with what was predicted, and works out what it does to traffic. */
export function readBack(applies: When): Step {
  return {
    name: 'read-back',
    title: 'compare what was read back with what was predicted, objects and traffic',
    applies,
    async act(run): Promise<Facts> {
      const { before, after } = await bothCaptures(run);
      if (configurationDigest(after) === run.facts.digestBefore) {
        return {
          prediction: {
            verdict: 'other than predicted',
            sentence: 'The device holds the configuration from before, not the new one.',
          },
        };
      }
      const traffic = compareTraffic(before, after, run.reading);
      return { prediction: comparePrediction(await wantedFiles(run), after, run.reading), traffic };
    },
  };
}

/** Checks the promises, the way in among them, on what the device now holds. */
export function keepPromises(applies: When): Step {
  return {
    name: 'promises',
    title: 'check the promises, the way in among them, on what was read back',
    applies,
    async act(run): Promise<Facts> {
      const { before, after } = await bothCaptures(run);
      const { promises } = run.goal;
      return { promises: await promisesKept(run.device, promises ?? [], before, after, run.reading) };
    },
  };
}

/** Compares the readings and decides: keep it, or go back. */
export function compareGraft(applies: When): Step {
  return {
    name: 'compare',
    title: 'compare the readings, and decide',
    applies,
    async act(run): Promise<Facts> {
      const { readingBefore, readingAfter, prediction, promises } = run.facts;
      if (readingBefore === undefined || readingAfter === undefined) throw missing('readings');
      if (prediction === undefined || promises === undefined) throw missing('prediction');
      const comparison = compareReadings(readingBefore, readingAfter);
      const { accepted = {} } = run.goal;
      // Promises that were broken by the user's own word do not count against it.
      const broken = accepted.brokenPromises === true ? { ...promises, newlyBroken: [] } : promises;
      const judgement = decideGraft({ prediction, promises: broken, readings: comparison, accepted });
      return { comparison, ...judgement };
    },
  };
}

async function bothCaptures(run: RunContext) {
  const { captureBefore, captureAfter } = run.facts;
  if (captureBefore === undefined || captureAfter === undefined) throw missing('captures');
  const { archive } = run.environment;
  const [before, after] = [await archive.get(captureBefore), await archive.get(captureAfter)];
  return { before: before.files, after: after.files };
}
