import { clustersOf } from '../difference/clusters.ts';
import { rankCluster, rankSides } from '../difference/compare.ts';
import { type OpenComparison, openComparison } from '../difference/comparison.ts';
import type { Box } from '../difference/fields.ts';
import { entry, OUTSIDE, within } from '../difference/flow.ts';
import { loadStage } from '../difference/load.ts';
import { type Item, interestsOf, type Outcome, programOf } from '../difference/program.ts';
import { race } from '../difference/race.ts';
import { type Slots, slotsUpTo, slotsWithout } from '../difference/slots.ts';
import { boxOf, firstView } from '../difference/view.ts';
import type { Match, Rule } from '../policy.ts';
import type { TrafficBudget } from '../row.ts';
import { NAMED, placeOf } from './finding.ts';
import type { Occurrence } from './occurrences.ts';

export type YesNo = 'yes' | 'no' | 'undecided';

/** Counts work over many small questions. */
export interface Purse {
  readonly budget: TrafficBudget;
  spent: number;
}

/** Whether taking the rule out of its stage changes the treatment of any packet. */
export function removalMatters({ slots, slot, indexes }: Occurrence, purse: Purse): YesNo {
  return anyCluster(slotsWithout(slots, slot, indexes), purse, (before, after) => [before, after]);
}

const REACHED: Outcome = { key: 'reached', verdict: 'drop', rewrites: [] };

/** Whether any packet is asked by the rule and matches. */
export function isReached({ slots, slot, indexes }: Occurrence, purse: Purse): YesNo {
  return anyCluster(slotsWithout(slots, slot, indexes), purse, (before, after) => [
    before.map((item) => (item.changed ? { ...item, outcome: REACHED } : item)),
    after,
  ]);
}

const OTHER: Outcome = { key: 'other', verdict: 'drop', rewrites: [] };

/** Whether some packet would come to the rule at `later` and match it, if the rule of the occurrence were not there. */
export function standsBefore({ slots, slot, indexes }: Occurrence, later: string, purse: Purse): YesNo {
  const seen = (items: readonly Item[]) =>
    items.map((item) => {
      const isLater = item.rule !== undefined && placeOf(item.rule.rule) === later;
      if (isLater) return { ...item, outcome: REACHED };
      return item.outcome === undefined ? item : { ...item, outcome: OTHER };
    });
  return anyCluster(slotsWithout(slots, slot, indexes), purse, (before, after) => [
    seen(before),
    seen(after),
  ]);
}

type Sides = readonly [readonly Item[], readonly Item[]];

function anyCluster(
  slots: Occurrence['slots'],
  purse: Purse,
  prepare: (before: readonly Item[], after: readonly Item[]) => Sides,
): YesNo {
  const comparison = openComparison(slots, undefined, true);
  let undecided = false;
  for (const cluster of clustersOf(interestsOf(comparison, 'before'))) {
    const regions = cluster.map((interest) => interest.box);
    const sides = rankCluster(comparison, regions, new Set(cluster.map((interest) => interest.owner)));
    const answer = differs(comparison, prepare(sides.before, sides.after), regions, purse);
    if (answer === 'yes') return 'yes';
    if (answer === 'undecided') undecided = true;
  }
  return undecided ? 'undecided' : 'no';
}

function differs(
  comparison: OpenComparison,
  [before, after]: Sides,
  regions: readonly Box[],
  purse: Purse,
): YesNo {
  const left = purse.budget.work - purse.spent;
  if (left <= 0) return 'undecided';
  const ranked = rankSides(comparison, before, after, regions);
  // A twentieth of what is left at most, so that one hard rule does not starve the others.
  const work = Math.max(200_000, left / 20);
  const result = race(ranked, { work, nodes: purse.budget.nodes, first: true });
  purse.spent += result.work + before.length + after.length;
  if (!('stopped' in result)) return result.root === 0 ? 'no' : 'yes';
  return result.witness !== undefined ? 'yes' : 'undecided';
}

const ASKED: Outcome = { key: 'asked', verdict: 'drop', rewrites: [] };

/** The rules that decide on the packets of a rule, in its stage or before, when the rule itself is left out. */
export function decidersWithout({ slots, slot, indexes, way }: Occurrence, purse: Purse): Rule[] {
  const shortened = slotsWithout(slotsUpTo(slots, slot), slot, indexes);
  const comparison = openComparison(shortened, undefined, true);
  const rules = new Set<Rule>();
  for (const index of indexes) {
    const rule = shortened.slots[slot]!.before.stage!.rules[index]!;
    const box = boxOf(rule, firstView(way.path), comparison);
    for (const decider of box === undefined ? [] : (deciders(comparison, box, purse) ?? []))
      rules.add(decider);
  }
  return [...rules].sort((a, b) => a.origin.line - b.origin.line).slice(0, NAMED);
}

/** The rules up to a slot that decide on packets of a flow; undefined when it would cost too much to find out. */
export function decidersOfFlow(slots: Slots, slot: number, flow: Match, purse: Purse): Rule[] | undefined {
  const rule = {
    match: flow,
    action: { verdict: 'accept' as const },
    origin: { file: '', line: 0, text: '' },
  };
  const asked = loadStage({ kind: 'filter', name: 'flow', rules: [rule] }, slots.family);
  const comparison = openComparison(slotsUpTo(slots, slot), asked, true);
  const box = boxOf(asked.rules[0]!, firstView(slots.path), comparison);
  return box === undefined ? [] : deciders(comparison, box, purse);
}

function deciders(comparison: OpenComparison, box: Box, purse: Purse): Rule[] | undefined {
  const items = programOf(comparison, 'after', [box], new Set());
  const before = within(
    box,
    items.map((item, i) => (item.outcome === undefined ? item : { ...item, cause: i })),
  );
  const after = [entry(box, ASKED, true), entry([], OUTSIDE, false)];
  const result = race(rankSides(comparison, before, after, [box]), { work: 2_000_000, nodes: 100_000 });
  purse.spent += result.work;
  if ('stopped' in result) return undefined;
  const rules = result.differences.map(({ causeBefore }) => items[causeBefore]?.rule?.rule);
  return [...new Set(rules.filter((rule) => rule !== undefined))];
}
