import type { Family } from '#core/address';
import type { Path, Policy } from '../policy.ts';
import type { TrafficBudget } from '../row.ts';
import { clustersOf } from './clusters.ts';
import { type ChangedRule, type OpenComparison, openComparison } from './comparison.ts';
import type { Diagram } from './diagram.ts';
import { type Box, Field, topOf } from './fields.ts';
import { type Interest, type Item, interestsOf, programOf } from './program.ts';
import { race } from './race.ts';
import { type Ranked, type RankedSpace, rankBoxes, rankItems } from './ranks.ts';
import { type Slots, slotsOf } from './slots.ts';
import type { Stopped } from './sweep.ts';

/** One cluster of changed rules with its diagram, or with where its sweep stopped. */
export interface ComparedCluster {
  readonly before: readonly Item[];
  readonly after: readonly Item[];
  readonly regions: readonly Box[];
  readonly owners: ReadonlySet<string>;
  readonly ranked: Ranked;
  readonly result: Diagram | Stopped;
  readonly changed: readonly ChangedRule[];
}

export interface PathComparison {
  readonly comparison: OpenComparison;
  readonly clusters: readonly ComparedCluster[];
  readonly work: number;
}

/** Compares one path and family of two policies. */
export function comparePath(
  before: Policy,
  after: Policy,
  path: Path,
  family: Family,
  budget: TrafficBudget,
): PathComparison | undefined {
  const slots = slotsOf(before, after, path, family);
  const unchanged = slots.slots.every((s) => s.before.changed.length === 0 && s.after.changed.length === 0);
  return unchanged ? undefined : compareSlots(slots, budget);
}

/** Compares slots whose changed rules are known. */
function compareSlots(slots: Slots, budget: TrafficBudget): PathComparison {
  const comparison = openComparison(slots);
  const interests = [...interestsOf(comparison, 'before'), ...interestsOf(comparison, 'after')];
  const clusters: ComparedCluster[] = [];
  let work = 0;
  for (const cluster of clustersOf(interests)) {
    const compared = compareCluster(comparison, cluster, {
      ...budget,
      work: Math.max(0, budget.work - work),
    });
    work += compared.result.work;
    clusters.push(compared);
  }
  return { comparison, clusters, work };
}

function compareCluster(
  comparison: OpenComparison,
  cluster: readonly Interest[],
  budget: TrafficBudget,
): ComparedCluster {
  const regions = cluster.map((interest) => interest.box);
  const owners = new Set(cluster.map((interest) => interest.owner));
  const rules = new Set(cluster.map(({ owner }) => owner.split('/', 3).join('/')));
  const changed = comparison.changed.filter(({ side, slot, index }) => rules.has(`${side}/${slot}/${index}`));
  for (;;) {
    const sides = rankCluster(comparison, regions, owners);
    const result = race(sides.ranked, budget);
    if ('stopped' in result || !openMore(comparison, sides.ranked, result)) {
      return { ...sides, regions, owners, result, changed };
    }
  }
}

/** Both sides of one cluster, as rules and over ranks. */
function rankCluster(comparison: OpenComparison, regions: readonly Box[], owners: ReadonlySet<string>) {
  const before = programOf(comparison, 'before', regions, owners);
  const after = programOf(comparison, 'after', regions, owners);
  return { before, after, ranked: rankSides(comparison, before, after, regions) };
}

/** Two item lists over ranks, in the span of the regions. */
export function rankSides(
  comparison: OpenComparison,
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
): Ranked {
  return rankItems(rankedSpace(comparison, before, after, regions), before, after);
}

/** The boxes of two item lists over ranks. */
export function rankedSpace(
  comparison: OpenComparison,
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
): RankedSpace {
  return rankBoxes(before, after, regions, topsOf(comparison));
}

/** The highest value of each field, NaN for IPv6 addresses. */
export function topsOf({ conditionNames, inNames, outNames, slots }: OpenComparison): number[] {
  return Array.from({ length: Field.firstCondition + conditionNames.length }, (_, field) =>
    topOf(field, slots.family, (field === Field.inInterface ? inNames : outNames).atoms.length),
  );
}

/** Opens the rest of the way wherever a difference was seen against a way not yet opened. */
function openMore(comparison: OpenComparison, ranked: Ranked, diagram: Diagram): boolean {
  let more = false;
  for (const { before, after } of diagram.differences) {
    for (const outcome of [before, after]) {
      const { unopened } = ranked.outcomes[outcome]!;
      if (unopened === undefined || comparison.opened.has(unopened)) continue;
      comparison.opened.add(unopened);
      more = true;
    }
  }
  return more;
}

/** A cluster over ranks with every way opened to its end, alike on both sides wherever no changed rule matches. */
export function rankOpened(comparison: OpenComparison, { regions, owners }: ComparedCluster): Ranked {
  return rankCluster({ ...comparison, openAll: true, untrimmed: true }, regions, owners).ranked;
}
