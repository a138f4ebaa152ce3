import type { Address } from '#core/address';
import { type Box, type FieldSet, intersectBoxes, isAddressSet, isWithin } from './fields.ts';
import { boxHolds, type Value } from './follow.ts';
import type { Item } from './program.ts';

/** How many packets of a whole region are tried, and of how many later items how many each. */
const TRIES = 8;
const LATER = 16;
const TRIES_EACH = 2;

/**
 * Whether some packet of the regions meets another outcome in one list of items than in the other, where that is cheap
 * to see. Both lists hold the same boxes and differ only in what changed items do. `no` when all outcomes from the first of
 * these on are one; `yes` when one of a few packets shows it, the same ones each time. `tops` holds the highest value of
 * each field, NaN for IPv6 addresses.
 */
export function quickAnswer(
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
  tops: readonly number[],
): 'yes' | 'no' | undefined {
  const isChanged = (item: Item, i: number) => item.changed || after[i]!.changed;
  const first = before.findIndex(isChanged);
  if (first < 0) return 'no';
  const own = before[first]!.outcome?.key;
  const others = otherOutcomes(first, before.findLastIndex(isChanged), before, after, regions);
  if (others.length === 0 && own !== undefined) return 'no';
  const draw = drawing();
  const showsIn = (box: Box, tries: number) => {
    for (let n = 0; n < tries; n++) {
      const packet = tops.map((top, field) => valueIn(box[field], top, draw));
      if (outcomeOf(before, packet) !== outcomeOf(after, packet)) return true;
    }
    return false;
  };
  for (const region of regions) {
    if (showsIn(region, TRIES)) return 'yes';
    for (const { box } of others.slice(0, LATER)) {
      const both = intersectBoxes(region, box);
      if (both !== undefined && showsIn(both, TRIES_EACH)) return 'yes';
    }
  }
  return undefined;
}

/**
 * The items with another outcome than the first changed one has before, that packets of the regions can get to from a
 * changed one on, in either list.
 */
function otherOutcomes(
  first: number,
  last: number,
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
): Item[] {
  const own = before[first]!.outcome?.key;
  const found: Item[] = [];
  let landing = last + 1;
  for (let i = first; i < before.length; i++) {
    const x = before[i]!;
    const y = after[i]!;
    if (x.outcome !== undefined && x.outcome.key !== own) found.push(x);
    if (y !== x && y.outcome !== undefined && y.outcome.key !== own) found.push(y);
    landing = Math.max(landing, x.target, y.target);
    const isEnd = i >= landing && x.outcome !== undefined && y.outcome !== undefined;
    if (isEnd && regions.every((region) => isWithin(region, x.box))) break;
  }
  return found;
}

function outcomeOf(items: readonly Item[], packet: readonly Value[]): string | undefined {
  for (let i = 0; i < items.length; ) {
    const { box, outcome, target } = items[i]!;
    if (!boxHolds(box, packet)) i++;
    else if (outcome !== undefined) return outcome.key;
    else i = target;
  }
  return undefined;
}

/** Draws a whole number below a bound. */
type Draw = (below: number) => number;

/** The same numbers each time: a linear congruential generator with the constants of Numerical Recipes. */
function drawing(): Draw {
  let state = 1;
  return (below) => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return Math.floor((state / 2 ** 32) * below);
  };
}

function valueIn(set: FieldSet | undefined, top: number, draw: Draw): Value {
  if (set === undefined) {
    return Number.isNaN(top) ? [0, 0, 0, 0].map(() => draw(2 ** 32)) : draw(top + 1);
  }
  if (!isAddressSet(set)) {
    const at = 2 * draw(set.length / 2);
    return set[at]! + draw(set[at + 1]! - set[at]! + 1);
  }
  const { low, high } = set.ranges[draw(set.ranges.length)]!;
  return addressBetween(low, high, draw);
}

/** Each word drawn between those of the bounds for as long as it says nothing about the next: always one between them. */
function addressBetween(low: Address, high: Address, draw: Draw): Address {
  let [atLow, atHigh] = [true, true];
  return low.map((_, word) => {
    const from = atLow ? low[word]! : 0;
    const to = atHigh ? high[word]! : 0xffff_ffff;
    const drawn = from + draw(to - from + 1);
    atLow &&= drawn === from;
    atHigh &&= drawn === to;
    return drawn;
  });
}
