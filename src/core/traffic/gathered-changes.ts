import { outcomeText } from './describe.ts';
import { type ChangeEffect, changeEffects } from './findings/effect-of-change.ts';
import { type GatheredRow, gatherRows } from './gathered-rows.ts';
import { groupBy } from './group-by.ts';
import type { Rule } from './policy.ts';
import type { TrafficChange, TrafficDifference } from './row.ts';

/** A change for reading: the two of both versions of IP as one, where the same is said of them. */
export interface GatheredChange {
  /** At most one of each version; the first is the larger. */
  readonly changes: readonly TrafficChange[];
  readonly effect: ChangeEffect;
  readonly rows: readonly GatheredRow[];
}

/** All changes for reading, biggest consequence first. */
export function gatherChanges(difference: TrafficDifference): GatheredChange[] {
  const effects = changeEffects(difference);
  const single = difference.changes.map((change, n) => ({ change, effect: effects[n]! }));
  const alike = groupBy(single, ({ change, effect }) => keyOf(change, effect));
  return [...alike.values()].flatMap((group) => {
    const families = new Set(group.map(({ change }) => change.family));
    const together = families.size === group.length ? [group] : group.map((one) => [one]);
    return together.map((parts) => {
      const changes = parts.map(({ change }) => change);
      return { changes, effect: parts[0]!.effect, rows: gatherRows(changes.flatMap(({ rows }) => rows)) };
    });
  });
}

/** All that is said of a change, but its rows and the version of IP. */
function keyOf({ path, before, after }: TrafficChange, { of, taken, alike }: ChangeEffect): string {
  const origins = (rules: readonly Rule[] | undefined) => rules?.map(({ origin }) => origin) ?? null;
  return JSON.stringify([
    path,
    outcomeText(before),
    outcomeText(after),
    origins(of),
    origins(taken),
    origins(alike),
  ]);
}
