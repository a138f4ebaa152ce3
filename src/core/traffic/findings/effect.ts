import { rankSides } from '../difference/compare.ts';
import { type OpenComparison, openComparison } from '../difference/comparison.ts';
import type { Box } from '../difference/fields.ts';
import { entry, OUTSIDE, within } from '../difference/flow.ts';
import { loadStage } from '../difference/load.ts';
import { type Outcome, programOf } from '../difference/program.ts';
import { race } from '../difference/race.ts';
import { type Slots, slotsUpTo, slotsWithout } from '../difference/slots.ts';
import { boxOf, firstView } from '../difference/view.ts';
import type { Match, Rule } from '../policy.ts';
import type { TrafficBudget } from '../row.ts';
import { NAMED } from './finding.ts';
import type { Occurrence } from './occurrences.ts';

/** Counts work over many small questions. */
export interface Purse {
  readonly budget: TrafficBudget;
  spent: number;
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

/** The rules up to a slot that decide on packets of a flow, in their order; undefined when it would cost too much to find out. */
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
  const result = race(rankSides(comparison, before, after, [box]), {
    work: 2_000_000,
    nodes: 100_000,
    anyOrder: true,
  });
  purse.spent += result.work;
  if ('stopped' in result) return undefined;
  const causes = result.differences.map(({ causeBefore }) => causeBefore).sort((a, b) => a - b);
  return [...new Set(causes.map((cause) => items[cause]?.rule?.rule).filter((rule) => rule !== undefined))];
}
