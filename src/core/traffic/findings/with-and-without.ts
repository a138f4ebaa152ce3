import { clustersOf } from '../difference/clusters.ts';
import { rankedSpace, topsOf } from '../difference/compare.ts';
import { type OpenComparison, openComparison } from '../difference/comparison.ts';
import { type Box, boxesOverlap, intersectBoxes, isWithin } from '../difference/fields.ts';
import { quickAnswer } from '../difference/probe.ts';
import { type Item, interestsOf, type Outcome, programOf } from '../difference/program.ts';
import { race } from '../difference/race.ts';
import { type RankedSpace, rankItems } from '../difference/ranks.ts';
import { slotsWithout } from '../difference/slots.ts';
import type { Purse } from './effect.ts';
import { placeOf } from './finding.ts';
import type { Occurrence } from './occurrences.ts';

export type YesNo = 'yes' | 'no' | 'undecided';

const REACHED: Outcome = { key: 'reached', verdict: 'drop', rewrites: [] };
const OTHER: Outcome = { key: 'other', verdict: 'drop', rewrites: [] };

/** Packets that the rule matches, and what they can meet, itself included. */
interface Part {
  readonly regions: readonly Box[];
  readonly items: readonly Item[];
  space: RankedSpace | undefined;
}

/** A policy with and without one of its rules side by side: what is asked of the two shares the work to lay them out. */
export class WithAndWithout {
  private readonly occurrence: Occurrence;
  private laidOut: { readonly comparison: OpenComparison; readonly parts: readonly Part[] } | undefined;

  constructor(occurrence: Occurrence) {
    this.occurrence = occurrence;
  }

  /** Whether taking the rule out of its stage changes the treatment of any packet. */
  matters(purse: Purse): YesNo {
    return this.ask(purse, (item) => item);
  }

  /** Whether any packet is asked by the rule and matches. */
  isReached(purse: Purse): YesNo {
    return this.ask(purse, (item) => (item.changed ? { ...item, outcome: REACHED } : item));
  }

  /** Whether some packet would come to the rule at `later` and match it, if this rule were not there. */
  standsBefore(later: string, purse: Purse): YesNo {
    const isLater = ({ rule }: Item) => rule !== undefined && placeOf(rule.rule) === later;
    const seen = (item: Item) => {
      if (isLater(item)) return { ...item, outcome: REACHED };
      return item.outcome === undefined ? item : { ...item, outcome: OTHER };
    };
    return this.ask(purse, seen, (part) => narrowed(part, part.items.filter(isLater)));
  }

  /** Whether the two differ, each item seen as asked. */
  private ask(purse: Purse, seen: (item: Item) => Item, narrow = (part: Part) => part): YesNo {
    this.laidOut ??= layOut(this.occurrence);
    const { comparison, parts } = this.laidOut;
    let undecided = false;
    for (const whole of parts) {
      const part = narrow(whole);
      const answer = differs(comparison, part, part.items.map(seen), purse);
      if (answer === 'yes') return 'yes';
      if (answer === 'undecided') undecided = true;
    }
    return undecided ? 'undecided' : 'no';
  }
}

/** The packets of a part that some of its items match too, and what they can meet. */
function narrowed({ regions, items }: Part, by: readonly Item[]): Part {
  const shared = regions
    .flatMap((region) => by.map(({ box }) => intersectBoxes(region, box)))
    .filter((box) => box !== undefined);
  const keeps = items.map(({ box }) => shared.some((region) => boxesOverlap(region, box)));
  const before = [0];
  for (const [i, kept] of keeps.entries()) before.push(before[i]! + (kept ? 1 : 0));
  const moved = items.map((item) => (item.target < 0 ? item : { ...item, target: before[item.target]! }));
  return { regions: shared, items: moved.filter((_, i) => keeps[i]), space: undefined };
}

function layOut({ slots, slot, indexes }: Occurrence) {
  const opened = openComparison(slotsWithout(slots, slot, indexes), undefined, true);
  // Only whether there is a difference is asked, never which rule it is owed to.
  const comparison = { ...opened, followCauses: false };
  const parts = clustersOf(interestsOf(comparison, 'before')).map((cluster): Part => {
    const regions = cluster.map((interest) => interest.box);
    const owners = new Set(cluster.map((interest) => interest.owner));
    return { regions, items: programOf(comparison, 'before', regions, owners), space: undefined };
  });
  return { comparison, parts };
}

/** Whether the items with the rule and without it differ anywhere in a part. */
function differs(comparison: OpenComparison, part: Part, items: readonly Item[], purse: Purse): YesNo {
  if (part.regions.length === 0) return 'no';
  const left = purse.budget.work - purse.spent;
  if (left <= 0) return 'undecided';
  // Without the rule: where it stands, all go on.
  const without = items.map((item, i) =>
    item.changed ? { ...item, outcome: undefined, target: i + 1, changed: false } : item,
  );
  purse.spent += 2 * items.length;
  const tops = topsOf(comparison);
  const answer = quickAnswer(items, without, part.regions, tops);
  if (answer !== undefined) return answer;
  part.space ??= rankedSpace(comparison, part.items, part.items, part.regions);
  // A twentieth of what is left at most, so that one hard rule does not starve the others.
  const work = Math.max(200_000, left / 20);
  const end = endWith(items, part.regions);
  const result = race(rankItems(cutBefore(part.space, end), items.slice(0, end), without), {
    work,
    nodes: purse.budget.nodes,
    first: true,
  });
  purse.spent += result.work;
  if (!('stopped' in result)) return result.root === 0 ? 'no' : 'yes';
  return result.witness !== undefined ? 'yes' : 'undecided';
}

/** Behind which item no packet of the regions comes as long as the rule is there; otherwise how many items there are. */
function endWith(items: readonly Item[], regions: readonly Box[]): number {
  const at = items.findIndex(({ changed }) => changed);
  const rule = items[at];
  if (rule?.outcome === undefined || items.some(({ target }, i) => i < at && target > at))
    return items.length;
  return regions.every((region) => isWithin(region, rule.box)) ? at + 1 : items.length;
}

/** The space with no more than the first items on the side before. */
function cutBefore(space: RankedSpace, end: number): RankedSpace {
  return {
    ...space,
    numbers: space.numbers.map(([before, after]) => [before.subarray(0, end), after] as const),
    sets: { ...space.sets, before: space.sets.before.map((sets) => sets.slice(0, end)) },
  };
}
