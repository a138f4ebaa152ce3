import { type Finding, percent, type Settled } from './finding.ts';
import { compareShares } from './proportions.ts';
import type { LossReading, Reading } from './reading.ts';

/** Lost probes towards each target, before against after, by a test of two shares. */
export function compareLoss(before: Reading, after: Reading, settled: Settled): readonly Finding[] {
  const targets = new Set([...before.loss, ...after.loss].map((entry) => entry.target));
  return [...targets].map((target) => {
    const then = before.loss.find((entry) => entry.target === target);
    const now = after.loss.find((entry) => entry.target === target);
    return compareTarget(target, then, now, settled);
  });
}

function compareTarget(
  target: string,
  then: LossReading | undefined,
  now: LossReading | undefined,
  { significance }: Settled,
): Finding {
  const about = {
    kind: 'loss',
    what: `loss towards ${target}`,
    before: lossText(then),
    after: lossText(now),
  } as const;
  if (!then || !now || then.sent <= 0 || now.sent <= 0) {
    return {
      ...about,
      judgement: 'unknown',
      why: 'It was not probed both times.',
      decides: then !== undefined,
    };
  }
  const p = lossP(then, now, now.lost);
  if (p < significance) {
    const worse = now.lost / now.sent > then.lost / then.sent;
    const why = `${worse ? 'More' : 'Less'} is lost than chance explains (${p.toPrecision(2)} < ${significance}, ${testName(then, now)}).`;
    return { ...about, judgement: worse ? 'worse' : 'better', why, decides: true };
  }
  const least = leastShown(then, now, significance);
  if (least === null) {
    const why = `So few probes cannot show a change: not even the loss of all ${now.sent} would be beyond chance at ${significance}.`;
    return {
      ...about,
      judgement: then.lost === 0 && now.lost === 0 ? 'same' : 'unknown',
      why,
      decides: true,
    };
  }
  const why = `No more than chance explains (p = ${p.toPrecision(2)}, ${testName(then, now)}); from ${least} of ${now.sent} lost on it would show at ${significance}.`;
  return { ...about, judgement: 'same', why, decides: true };
}

/** The smallest number of lost probes that would count as worse; null when not even all of them would. */
function leastShown(then: LossReading, now: LossReading, significance: number): number | null {
  const share = then.lost / then.sent;
  const shows = (lost: number) => lost / now.sent > share && lossP(then, now, lost) < significance;
  if (!shows(now.sent)) return null;
  let [no, yes] = [Math.floor(share * now.sent), now.sent];
  while (yes - no > 1) {
    const middle = Math.floor((no + yes) / 2);
    if (shows(middle)) yes = middle;
    else no = middle;
  }
  return yes;
}

function lossP(then: LossReading, now: LossReading, lost: number): number {
  return compareShares({ count: then.lost, of: then.sent }, { count: lost, of: now.sent })?.p ?? 1;
}

function testName(then: LossReading, now: LossReading): string {
  return (
    compareShares({ count: then.lost, of: then.sent }, { count: now.lost, of: now.sent })?.by ?? 'no test'
  );
}

function lossText(entry: LossReading | undefined): string {
  if (entry === undefined) return 'not probed';
  if (entry.sent <= 0) return 'no probe sent';
  return `${entry.lost} of ${entry.sent} lost (${percent(entry.lost / entry.sent)})`;
}
