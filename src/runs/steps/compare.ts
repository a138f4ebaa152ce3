import { compareReadings } from '#core/reading';
import { runningSlot } from '#core/slots';
import { compareTraffic } from '../compare-traffic.ts';
import { decide, worseInWords } from '../decision.ts';
import type { Facts } from '../facts.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { missing } from './transfer.ts';

/** Compares state, configuration and traffic with before, and decides. */
export const compareAndDecide: Step = {
  name: 'compare',
  title: 'compare state, configuration and traffic with before, and decide',
  async act(run): Promise<Facts> {
    const { before, after, readingBefore, readingAfter } = run.facts;
    const { release } = run.goal;
    if (before === undefined || after === undefined || release === undefined) throw missing('before, after');
    if (readingBefore === undefined || readingAfter === undefined) throw missing('readings');
    const comparison = compareReadings(readingBefore, readingAfter, { booted: true });
    const changed = runningSlot(before.slots).configuration !== runningSlot(after.slots).configuration;
    const traffic = await trafficBetween(run, run.facts.captureBefore, run.facts.captureAfter);
    const judgement = decide({
      wanted: release.sheet.release,
      runs: after.identity.release,
      slots: after.slots,
      readings: comparison,
      configurationChanged: changed,
      traffic,
    });
    return {
      comparison,
      ...(traffic === null ? {} : { traffic }),
      decision: judgement.decision === 'go back' ? 'went back' : judgement.decision,
      reason: judgement.reason,
    };
  },
};

/** The traffic comparison of two captures; null when they hold the same configuration, so no packet is treated differently. */
async function trafficBetween(run: RunContext, before: string | undefined, after: string | undefined) {
  if (before === undefined || after === undefined) throw missing('captures');
  const { archive } = run.environment;
  const [a, b] = [await archive.get(before), await archive.get(after)];
  return a.record.digest === b.record.digest ? null : compareTraffic(a.files, b.files, run.reading);
}

/** After going back: is the device as it was before the run? */
export function compareBack(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'back-compare',
    title: 'compare with before the run',
    applies,
    async act(run): Promise<Facts> {
      const { before, back, readingBefore, readingBack, reason } = run.facts;
      if (
        before === undefined ||
        back === undefined ||
        readingBefore === undefined ||
        readingBack === undefined
      ) {
        throw missing('back');
      }
      const comparison = compareReadings(readingBefore, readingBack, { booted: true });
      const same = runningSlot(before.slots).configuration === runningSlot(back.slots).configuration;
      const doubts = [
        back.identity.release === before.identity.release
          ? null
          : `it runs ${back.identity.release}, not ${before.identity.release}`,
        same ? null : 'its configuration is not the one from before',
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

/** After a boot or a restore that the user asked for: say how the device is; nothing to decide. */
export const compareAfterwards: Step = {
  name: 'compare',
  title: 'compare state, configuration and traffic with before',
  async act(run): Promise<Facts> {
    const { readingBefore, readingAfter } = run.facts;
    if (readingBefore === undefined || readingAfter === undefined) throw missing('readings');
    const traffic = await trafficBetween(run, run.facts.captureBefore, run.facts.captureAfter);
    return {
      comparison: compareReadings(readingBefore, readingAfter),
      ...(traffic === null ? {} : { traffic }),
    };
  },
};
