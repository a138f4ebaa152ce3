import { sharedOutcome } from '../describe.ts';
import { groupBy } from '../group-by.ts';
import type { Rule } from '../policy.ts';
import type { RowOutcome, TrafficBudget, TrafficChange, TrafficRow } from '../row.ts';
import { boxesOf, countBoxes, mergeBoxes, type RankBox } from './boxes.ts';
import type { ComparedCluster } from './compare.ts';
import type { OpenComparison } from './comparison.ts';
import { exampleOf, packetSetOf, splitServices } from './decode.ts';
import type { Diagram } from './diagram.ts';
import type { FieldSet } from './fields.ts';
import { decidingRules } from './follow.ts';
import type { Ranked } from './ranks.ts';
import { sizeOf } from './size.ts';

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
  const outcomeOf = (id: number): RowOutcome => {
    const { verdict, rewrites } = ranked.outcomes[id]!;
    return { verdict, rewrites };
  };
  const kinds = [...byDifference].map(([n, list]) => {
    const difference = diagram.differences[n]!;
    const outcomes = { before: outcomeOf(difference.before), after: outcomeOf(difference.after) };
    // Where the verdict stays, it is the translation that changes.
    const stays = outcomes.before.verdict === outcomes.after.verdict;
    const rows = list
      .flatMap((box) => splitServices(valuesOf(ranked, box), family))
      .map((box): SizedRow => {
        const set = packetSetOf(box, family, comparison);
        const example = exampleOf(box, set, path, family, comparison);
        const decidedBy = (items: ComparedCluster['before'], cause: number) => {
          const { verdict, translation } = decidingRules(items, example, comparison);
          return stays ? (translation ?? ruleOf(cause) ?? verdict) : verdict;
        };
        const ruleBefore = decidedBy(cluster.before, difference.causeBefore);
        const ruleAfter = decidedBy(cluster.after, difference.causeAfter);
        const row = { path, family, ...set, ...outcomes, ruleBefore, ruleAfter, example };
        return { row, size: sizeOf(box, comparison) };
      });
    const { causeBefore, causeAfter } = difference;
    return { ...outcomes, causeBefore, causeAfter, rows, complete: !cutOff.has(n) };
  });
  const among = cluster.changed.map(({ rule }) => rule);
  return groupByCause(kinds).map((group): TrafficChange => {
    const { causeBefore, causeAfter } = group[0]!;
    const sized = group.flatMap(({ rows }) => rows).sort((a, b) => b.size - a.size);
    return {
      path,
      family,
      before: sharedOutcome(group.map(({ before }) => before)),
      after: sharedOutcome(group.map(({ after }) => after)),
      changedBefore: ruleOf(causeBefore),
      changedAfter: ruleOf(causeAfter),
      among,
      rows: sized.map(({ row }) => row),
      complete: group.every(({ complete }) => complete),
      size: sized.reduce((most, { size }) => Math.max(most, size), 0),
    };
  });
}

interface SizedRow {
  readonly row: TrafficRow;
  readonly size: number;
}

interface Kind {
  readonly before: RowOutcome;
  readonly after: RowOutcome;
  readonly causeBefore: number;
  readonly causeAfter: number;
  readonly rows: readonly SizedRow[];
  readonly complete: boolean;
}

/** Kinds of difference that come from one cause: how packets are translated tells them apart only where the verdict stays. */
function groupByCause(kinds: readonly Kind[]): Kind[][] {
  const groups = groupBy(kinds, (kind) => {
    const { before, after, causeBefore, causeAfter } = kind;
    return before.verdict === after.verdict
      ? kind
      : `${before.verdict}>${after.verdict} ${causeBefore}>${causeAfter}`;
  });
  return [...groups.values()];
}

function valuesOf(ranked: Ranked, box: RankBox): (FieldSet | undefined)[] {
  // Ranks reach only as far as the changed rules do, so even an unlimited field may stand for fewer than all values.
  return box.ranks.map((ranks, field) => ranked.valuesOf(field, ranks));
}

function groupByKind(boxes: readonly RankBox[]): Map<number, RankBox[]> {
  return groupBy(boxes, (box) => box.difference);
}
