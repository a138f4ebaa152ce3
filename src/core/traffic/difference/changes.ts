import type { Rule } from '../policy.ts';
import type { RowOutcome, TrafficBudget, TrafficChange, TrafficRow } from '../row.ts';
import { boxesOf, countBoxes, mergeBoxes, type RankBox } from './boxes.ts';
import type { ComparedCluster } from './compare.ts';
import type { OpenComparison } from './comparison.ts';
import { exampleOf, packetSetOf, splitServices } from './decode.ts';
import type { FieldSet } from './fields.ts';
import { decidingRule } from './follow.ts';
import type { Ranked } from './ranks.ts';
import { sizeOf } from './size.ts';
import type { Diagram } from './sweep.ts';

/** The changes of one cluster, each with its rows. */
export function changesOf(
  comparison: OpenComparison,
  cluster: Pick<ComparedCluster, 'ranked' | 'before' | 'after' | 'changed'>,
  diagram: Diagram,
  budget: Pick<TrafficBudget, 'rows'>,
): TrafficChange[] {
  const { path, family } = comparison.slots;
  const { ranked } = cluster;
  const total = countBoxes(diagram);
  const listed = boxesOf(diagram, ranked.fields, budget.rows);
  const byDifference = groupByKind(mergeBoxes(listed, ranked.ranks));
  const cutOff = new Set<number>();
  if (total > budget.rows) {
    for (const [n, list] of groupByKind(listed)) if (list.length >= budget.rows) cutOff.add(n);
  }
  const ruleOf = (cause: number): Rule | undefined => comparison.changed[cause]?.rule;
  return [...byDifference].map(([n, list]): TrafficChange => {
    const difference = diagram.differences[n]!;
    const outcomeOf = (id: number): RowOutcome => {
      const { verdict, rewrites } = ranked.outcomes[id]!;
      return { verdict, rewrites };
    };
    const outcomes = { before: outcomeOf(difference.before), after: outcomeOf(difference.after) };
    const sized = list
      .flatMap((box) => splitServices(valuesOf(ranked, box), family))
      .map((box) => ({ box, size: sizeOf(box, comparison) }))
      .sort((a, b) => b.size - a.size);
    const rows = sized.map(({ box }): TrafficRow => {
      const set = packetSetOf(box, family, comparison);
      const example = exampleOf(box, set, path, family, comparison);
      const ruleBefore = decidingRule(cluster.before, example, comparison);
      const ruleAfter = decidingRule(cluster.after, example, comparison);
      return { path, family, ...set, ...outcomes, ruleBefore, ruleAfter, example };
    });
    return {
      path,
      family,
      ...outcomes,
      changedBefore: ruleOf(difference.causeBefore),
      changedAfter: ruleOf(difference.causeAfter),
      among: cluster.changed.map(({ rule }) => rule),
      rows,
      complete: !cutOff.has(n),
      size: sized.reduce((sum, { size }) => Math.max(sum, size), 0),
    };
  });
}

function valuesOf(ranked: Ranked, box: RankBox): (FieldSet | undefined)[] {
  // Ranks reach only as far as the changed rules do, so even an unlimited field may stand for fewer than all values.
  return box.ranks.map((ranks, field) => ranked.valuesOf(field, ranks));
}

function groupByKind(boxes: readonly RankBox[]): Map<number, RankBox[]> {
  const kinds = new Map<number, RankBox[]>();
  for (const box of boxes) {
    const kind = kinds.get(box.difference);
    if (kind === undefined) kinds.set(box.difference, [box]);
    else kind.push(box);
  }
  return kinds;
}
