import { compareCapacity } from './capacity.ts';
import { bootedBetween, type Told } from './counters.ts';
import { compareErrors } from './errors.ts';
import { type CompareOptions, type Finding, settle } from './finding.ts';
import { compareInterfaces } from './interfaces.ts';
import { compareLoss } from './loss.ts';
import type { Reading } from './reading.ts';
import { bootFinding, compareAlarms, compareFields, compareUnread } from './remarks.ts';

export type ComparisonVerdict = 'well' | 'worse' | 'cannot tell';

/** Is the device as well as before? */
export interface Comparison {
  readonly verdict: ComparisonVerdict;
  /** One sentence for each point that made the verdict; a single one when it is `well`. */
  readonly because: readonly string[];
  readonly findings: readonly Finding[];
  readonly booted: Told;
  /** The level the tests of shares used. */
  readonly significance: number;
}

/**
 * Compares a reading with an earlier one. One point that is worse makes the whole `worse`; otherwise one open point
 * that decides makes it `cannot tell`; otherwise it is `well`. Both readings may be complete or not: what is missing
 * becomes a finding of its own. Each share is tested by itself at the level in the options, without a correction for
 * their number.
 * @throws TuckpointError `reading/time` for a time stamp that cannot be read, when it is needed to tell a boot.
 */
export function compareReadings(before: Reading, after: Reading, options: CompareOptions = {}): Comparison {
  const settled = settle(options);
  const booted = options.booted === undefined ? bootedBetween(before, after) : options.booted ? 'yes' : 'no';
  const findings = [
    bootFinding(before, after, booted),
    ...compareInterfaces(before, after),
    ...compareErrors(before, after, booted, settled),
    ...compareLoss(before, after, settled),
    ...compareCapacity(before, after, settled),
    ...compareAlarms(before, after),
    ...compareFields(before, after, settled),
    ...compareUnread(before, after),
  ];
  const worse = findings.filter((finding) => finding.judgement === 'worse');
  const open = findings.filter((finding) => finding.judgement === 'unknown' && finding.decides);
  const verdict = worse.length > 0 ? 'worse' : open.length > 0 ? 'cannot tell' : 'well';
  const because =
    verdict === 'well'
      ? ['Nothing that was compared is worse than before.']
      : [...worse, ...open].map(
          ({ what, before: then, after: now, why }) => `${what}: ${then} -> ${now}. ${why}`,
        );
  return { verdict, because, findings, booted, significance: settled.significance };
}
