import type { Comparison } from '#core/reading';
import type { SlotState } from '#core/slots';
import type { TrafficAnswer } from './compare-traffic.ts';

/** What a run knows when it decides on an update. */
export interface Evidence {
  readonly wanted: string;
  readonly runs: string;
  readonly slots: SlotState;
  /** Null when it could not be compared. */
  readonly readings: Comparison;
  readonly configurationChanged: boolean;
  /** Null when the configuration did not change, so that there was nothing to compare. */
  readonly traffic: TrafficAnswer | null;
}

export interface Judgement {
  readonly decision: 'kept' | 'go back' | 'stopped';
  /** One sentence, or several. */
  readonly reason: string;
}

/**
 * Keep, go back, or stop and ask. Going back needs proof of harm (another release runs, traffic changes its verdict,
 * the reading is worse); keeping needs proof of health; everything between is a person's to decide.
 */
export function decide(evidence: Evidence): Judgement {
  const { wanted, runs, readings, traffic } = evidence;
  if (runs !== wanted) {
    return {
      decision: 'go back',
      reason: `The device runs ${runs}, not ${wanted}: the new release did not come up.`,
    };
  }
  const harm: string[] = [];
  const open: string[] = [];
  if (readings.verdict === 'worse') harm.push(worseInWords(readings));
  if (readings.verdict === 'cannot tell') open.push(...readings.because);
  if (traffic?.verdict === 'different')
    harm.push(
      `The update changed the configuration so that traffic is treated differently: ${traffic.sentence}`,
    );
  if (traffic?.verdict === 'undecided' || traffic?.verdict === 'not read') {
    open.push(
      `The update changed the configuration, and whether traffic is treated as before is not known: ${traffic.sentence}`,
    );
  }
  if (harm.length > 0) return { decision: 'go back', reason: harm.join(' ') };
  if (open.length > 0)
    return {
      decision: 'stopped',
      reason: `The new release runs, and no harm was found, but: ${open.join(' ')}`,
    };
  return { decision: 'kept', reason: keptReason(evidence) };
}

/** How many points of a worse reading are named in the reason; the report has them all. */
const NAMED = 3;

/** What is worse, a service's loss and a downed interface before counters. */
export function worseInWords(readings: Comparison): string {
  const order = ['interface', 'loss', 'alarm', 'memory', 'processor', 'errors'];
  const rank = (kind: string) => (order.indexOf(kind) + order.length + 1) % (order.length + 1);
  const worse = readings.findings
    .filter((finding) => finding.judgement === 'worse')
    .sort((a, b) => rank(a.kind) - rank(b.kind));
  const named = worse.slice(0, NAMED).map(({ what, before, after }) => `${what}: ${before} -> ${after}`);
  const more = worse.length > NAMED ? `, and ${worse.length - NAMED} more` : '';
  return `The reading is worse than before: ${named.join('; ')}${more}.`;
}

function keptReason({ wanted, configurationChanged, traffic }: Evidence): string {
  const well = `The device runs ${wanted} and is as well as before.`;
  if (!configurationChanged) return `${well} The configuration is unchanged.`;
  return `${well} The update changed the configuration itself: ${traffic?.sentence ?? 'traffic was not compared.'}`;
}
