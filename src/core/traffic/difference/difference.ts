import type { Family } from '#core/address';
import type { Packet } from '../packet.ts';
import type { Path, Policy, Rule, Unread } from '../policy.ts';
import {
  DEFAULT_BUDGET,
  type RowOutcome,
  type TrafficBudget,
  type TrafficChange,
  type TrafficDifference,
  type TrafficRow,
  type Unresolved,
} from '../row.ts';
import { boxesOf, countBoxes, mergeBoxes, type RankBox } from './boxes.ts';
import { type ComparedCluster, comparePath, type PathComparison } from './compare.ts';
import { exampleOf, packetSetOf, splitServices } from './decode.ts';
import type { FieldSet } from './fields.ts';
import { decidingRule } from './follow.ts';
import { byConsequence, sizeOf } from './size.ts';
import { answerStopped } from './stopped.ts';
import type { Diagram } from './sweep.ts';

/** All ways of a packet, in the order of reports. */
export const WAYS: readonly { readonly path: Path; readonly family: Family }[] = (
  ['through', 'to', 'from'] as const
).flatMap((path) => ([4, 6] as const).map((family) => ({ path, family })));

/**
 * Which packets two policies treat differently, as disjoint rows that together are complete.
 *
 * "equal" is only said when it is proved. Past the budget the answer is "different" with a packet that shows it, or
 * "undecided"; `unresolved` then names the changed rules whose effect is not known in full.
 */
export function trafficDifference(
  before: Policy,
  after: Policy,
  budget: TrafficBudget = DEFAULT_BUDGET,
): TrafficDifference {
  const changes: TrafficChange[] = [];
  const unresolved: Unresolved[] = [];
  let work = 0;
  for (const { path, family } of WAYS) {
    const compared = comparePath(before, after, path, family, {
      ...budget,
      work: Math.max(0, budget.work - work),
    });
    if (compared === undefined) continue;
    work += compared.work;
    for (const cluster of compared.clusters) {
      if ('stopped' in cluster.result) {
        const answer = answerStopped(compared.comparison, cluster, before, after, budget.nodes);
        if (answer !== 'equal') unresolved.push(unresolvedOf(compared, cluster, answer));
      } else changes.push(...changesOf(compared, cluster, cluster.result, budget));
    }
  }
  changes.sort(byConsequence);
  const unread = uniqueUnread([...before.unread, ...after.unread]);
  const different = changes.length > 0 || unresolved.some((u) => u.packet !== undefined);
  return {
    verdict: different ? 'different' : unresolved.length > 0 ? 'undecided' : 'equal',
    exact: unread.length === 0,
    unread,
    changes,
    rows: changes.flatMap((change) => change.rows),
    unresolved,
    work,
  };
}

function uniqueUnread(unread: readonly Unread[]): Unread[] {
  const known = new Map(unread.map((u) => [`${u.file}:${u.line}:${u.text}`, u]));
  return [...known.values()];
}

function changesOf(
  { comparison }: PathComparison,
  cluster: ComparedCluster,
  diagram: Diagram,
  budget: TrafficBudget,
): TrafficChange[] {
  const { path, family } = comparison.slots;
  const { ranked } = cluster;
  const total = countBoxes(diagram);
  const boxes = mergeBoxes(boxesOf(diagram, ranked.fields, budget.rows), ranked.ranks);
  const byDifference = new Map<number, RankBox[]>();
  for (const box of boxes)
    byDifference.set(box.difference, [...(byDifference.get(box.difference) ?? []), box]);
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
      rows,
      complete: total <= budget.rows,
      size: sized.reduce((sum, { size }) => Math.max(sum, size), 0),
    };
  });
}

function valuesOf(ranked: ComparedCluster['ranked'], box: RankBox): (FieldSet | undefined)[] {
  // Ranks reach only as far as the changed rules do, so even an unlimited field may stand for fewer than all values.
  return box.ranks.map((ranks, field) => ranked.valuesOf(field, ranks));
}

function unresolvedOf(
  { comparison }: PathComparison,
  { changed }: ComparedCluster,
  answer: Packet | 'undecided',
): Unresolved {
  const { path, family } = comparison.slots;
  return {
    path,
    family,
    rules: changed.map((c) => c.rule),
    packet: answer === 'undecided' ? undefined : answer,
  };
}
