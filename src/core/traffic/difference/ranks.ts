import {
  type Address,
  type AddressSet,
  compareAddresses,
  type Family,
  type NumberSet,
  nextAddress,
  previousAddress,
} from '#core/address';
import { type Box, type FieldSet, hullOf, isAddressSet, topOf } from './fields.ts';
import type { Item, Outcome } from './program.ts';

/** One side of a comparison with every set turned into ranks. Arrays are indexed by item. */
export interface RankedSide {
  readonly count: number;
  /** By field, then item: flat `[low, high, ...]` ranks; undefined means any. */
  readonly sets: readonly (Int32Array | undefined)[][];
  /** Outcome number, or -1 for an item that goes on at `target`. */
  readonly outcome: Int32Array;
  readonly target: Int32Array;
  readonly changed: Uint8Array;
  readonly cause: Int32Array;
}

/**
 * Both sides over ranks: between two neighbouring bounds of any rule all values are alike, so a rank stands for all.
 * Only the span that the regions cover is ranked; outside it nothing differs.
 */
export interface Ranked {
  readonly fields: number;
  /** How many ranks each field has. */
  readonly ranks: readonly number[];
  readonly before: RankedSide;
  readonly after: RankedSide;
  readonly outcomes: readonly Outcome[];
  /** The values of a field that a set of ranks stands for; undefined when they are all values. */
  valuesOf(field: number, ranks: Int32Array | undefined): FieldSet | undefined;
}

type Value = number | Address;

/** The first value of each rank, and the last value of the last rank. */
interface Scale {
  readonly starts: readonly Value[];
  readonly last: Value;
}

export function rankItems(
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
  fields: number,
  family: Family,
  interfaces: (field: number) => number,
): Ranked {
  const scales: Scale[] = [];
  for (let f = 0; f < fields; f++)
    scales.push(scaleOf(f, before, after, regions, topOf(f, family, interfaces(f))));
  const outcomes: Outcome[] = [];
  const outcomeIds = new Map<string, number>();
  const idOf = (outcome: Outcome): number => {
    let id = outcomeIds.get(outcome.key);
    if (id === undefined) {
      id = outcomes.length;
      outcomes.push(outcome);
      outcomeIds.set(outcome.key, id);
    }
    return id;
  };
  return {
    fields,
    ranks: scales.map((scale) => scale.starts.length),
    before: rankSide(before, scales, idOf),
    after: rankSide(after, scales, idOf),
    outcomes,
    valuesOf: (field, ranks) => valuesOf(scales[field]!, ranks, topOf(field, family, interfaces(field))),
  };
}

function compare(a: Value, b: Value): number {
  return typeof a === 'number' ? a - (b as number) : compareAddresses(a, b as Address);
}

function scaleOf(
  field: number,
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
  top: number,
): Scale {
  const span = spanOf(field, regions, top);
  const sets = new Set<FieldSet>();
  for (const items of [before, after]) {
    for (const { box } of items) {
      const set = box[field];
      if (set !== undefined) sets.add(set);
    }
  }
  const starts =
    typeof span.low === 'number'
      ? numberStarts(sets as Set<NumberSet>, span.low, span.high as number)
      : addressStarts(sets as Set<AddressSet>, span.low, span.high as Address);
  return { starts, last: span.high };
}

function numberStarts(sets: Iterable<NumberSet>, low: number, high: number): number[] {
  const bounds: number[] = [low];
  for (const set of sets) {
    for (let i = 0; i < set.length; i += 2) {
      const first = set[i]!;
      const next = set[i + 1]! + 1;
      if (first > low && first <= high) bounds.push(first);
      if (next > low && next <= high) bounds.push(next);
    }
  }
  const sorted = Float64Array.from(bounds).sort();
  const starts: number[] = [];
  for (let i = 0; i < sorted.length; i++) if (i === 0 || sorted[i] !== sorted[i - 1]) starts.push(sorted[i]!);
  return starts;
}

function addressStarts(sets: Iterable<AddressSet>, low: Address, high: Address): Address[] {
  const bounds: Address[] = [low];
  const note = (value: Address | undefined) => {
    if (value === undefined || compareAddresses(value, low) <= 0 || compareAddresses(value, high) > 0) return;
    bounds.push(value);
  };
  for (const set of sets) {
    for (const range of set.ranges) {
      note(range.low);
      note(nextAddress(range.high));
    }
  }
  bounds.sort(compareAddresses);
  return bounds.filter((v, i) => i === 0 || compareAddresses(v, bounds[i - 1]!) !== 0);
}

function spanOf(field: number, regions: readonly Box[], top: number): { low: Value; high: Value } {
  const whole: { low: Value; high: Value } = Number.isNaN(top)
    ? { low: [0, 0, 0, 0], high: [0xffff_ffff, 0xffff_ffff, 0xffff_ffff, 0xffff_ffff] }
    : { low: 0, high: top };
  let span: { low: Value; high: Value } | undefined;
  for (const region of regions) {
    const set = region[field];
    if (set === undefined) return whole;
    const { low, high } = hullOf(set);
    if (span === undefined) span = { low, high };
    else {
      span = {
        low: compare(low, span.low) < 0 ? low : span.low,
        high: compare(high, span.high) > 0 ? high : span.high,
      };
    }
  }
  return span ?? whole;
}

/** How many ranks start at or before `value`. */
function startsUpTo({ starts }: Scale, value: Value): number {
  let low = 0;
  let high = starts.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (compare(starts[middle]!, value) <= 0) low = middle + 1;
    else high = middle;
  }
  return low;
}

function rankSide(
  items: readonly Item[],
  scales: readonly Scale[],
  idOf: (outcome: Outcome) => number,
): RankedSide {
  const count = items.length;
  const side: RankedSide = {
    count,
    sets: scales.map((scale, f) => {
      const known = new Map<FieldSet, Int32Array | undefined>();
      return items.map(({ box }) => {
        const set = box[f];
        if (set === undefined) return undefined;
        if (!known.has(set)) known.set(set, ranksOf(set, scale));
        return known.get(set);
      });
    }),
    outcome: new Int32Array(count),
    target: new Int32Array(count),
    changed: new Uint8Array(count),
    cause: new Int32Array(count),
  };
  for (const [i, item] of items.entries()) {
    side.outcome[i] = item.outcome === undefined ? -1 : idOf(item.outcome);
    side.target[i] = item.target;
    side.changed[i] = item.changed ? 1 : 0;
    side.cause[i] = item.cause;
  }
  return side;
}

/** A set as ranks within the span; undefined when it covers the whole span. */
function ranksOf(set: FieldSet, scale: Scale): Int32Array | undefined {
  const bounds: number[] = [];
  if (isAddressSet(set)) {
    for (const { low, high } of set.ranges) {
      if (compare(high, scale.starts[0]!) < 0 || compare(low, scale.last) > 0) continue;
      bounds.push(Math.max(1, startsUpTo(scale, low)) - 1, startsUpTo(scale, high) - 1);
    }
  } else {
    const starts = scale.starts as readonly number[];
    const last = scale.last as number;
    for (let i = 0; i < set.length; i += 2) {
      const low = set[i]!;
      const high = set[i + 1]!;
      if (high < starts[0]! || low > last) continue;
      bounds.push(Math.max(1, numbersUpTo(starts, low)) - 1, numbersUpTo(starts, high) - 1);
    }
  }
  const all = bounds.length === 2 && bounds[0] === 0 && bounds[1] === scale.starts.length - 1;
  return all ? undefined : Int32Array.from(bounds);
}

/** How many of the ascending numbers are at most `value`. */
function numbersUpTo(starts: readonly number[], value: number): number {
  let low = 0;
  let high = starts.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (starts[middle]! <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}

function valuesOf(scale: Scale, ranks: Int32Array | undefined, top: number): FieldSet | undefined {
  const { starts, last } = scale;
  const endOf = (rank: number): Value => {
    const next = starts[rank + 1];
    if (next === undefined) return last;
    return typeof next === 'number' ? next - 1 : previousAddress(next)!;
  };
  const bounds = ranks ?? [0, starts.length - 1];
  const pairs: [Value, Value][] = [];
  for (let i = 0; i < bounds.length; i += 2) pairs.push([starts[bounds[i]!]!, endOf(bounds[i + 1]!)]);
  if (typeof last === 'number') {
    const numbers = pairs.flat() as number[];
    return numbers.length === 2 && numbers[0] === 0 && numbers[1] === top ? undefined : numbers;
  }
  const ranges = pairs.map(([low, high]) => ({ low: low as Address, high: high as Address }));
  const [only] = ranges;
  const everything =
    ranges.length === 1 && only!.low.every((w) => w === 0) && only!.high.every((w) => w === 0xffff_ffff);
  return everything ? undefined : { family: 6, ranges };
}
