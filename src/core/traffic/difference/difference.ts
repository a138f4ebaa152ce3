import type { Family } from '#core/address';
import type { Packet } from '../packet.ts';
import type { Path, Policy, Unread } from '../policy.ts';
import {
  DEFAULT_BUDGET,
  type TrafficBudget,
  type TrafficChange,
  type TrafficDifference,
  type Unresolved,
} from '../row.ts';
import { changesOf } from './changes.ts';
import { type ComparedCluster, comparePath, type PathComparison } from './compare.ts';
import { byConsequence } from './size.ts';
import { answerStopped } from './stopped.ts';

/** All ways of a packet, in the order of reports. */
export const WAYS: readonly { readonly path: Path; readonly family: Family }[] = (
  ['through', 'to', 'from'] as const
).flatMap((path) => ([4, 6] as const).map((family) => ({ path, family })));

/**
 * Which packets two policies treat differently, as disjoint rows that together are complete.
 *
 * "equal" is only said when it is proved, but for statements that stand unread in both versions alike. Past the budget the answer is "different" with a packet that shows it, or
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
      } else changes.push(...changesOf(compared.comparison, cluster, cluster.result, budget));
    }
  }
  changes.sort(byConsequence);
  const unread = uniqueUnread([...before.unread, ...after.unread]);
  const different = changes.length > 0 || unresolved.some((u) => u.packet !== undefined);
  return {
    before,
    after,
    verdict: different
      ? 'different'
      : unresolved.length > 0 || unreadDiffers(before, after)
        ? 'undecided'
        : 'equal',
    exact: unread.length === 0,
    unread,
    changes,
    rows: changes.flatMap((change) => change.rows),
    unresolved,
    work,
  };
}

/** Whether the versions differ in what was not read, wherever it stands: then nothing can be said to be equal. */
function unreadDiffers(before: Policy, after: Policy): boolean {
  const textsOf = ({ unread }: Policy) =>
    JSON.stringify(unread.map((u) => [u.whole ?? u.text, u.reason]).sort());
  return textsOf(before) !== textsOf(after);
}

function uniqueUnread(unread: readonly Unread[]): Unread[] {
  const known = new Map(unread.map((u) => [`${u.file}:${u.line}:${u.text}`, u]));
  return [...known.values()];
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
