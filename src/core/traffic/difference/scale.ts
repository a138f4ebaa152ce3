import {
  type Address,
  type AddressSet,
  compareAddresses,
  type NumberSet,
  nextAddress,
  previousAddress,
} from '#core/address';
import { countUpTo } from './count-up-to.ts';
import { type Box, type FieldSet, hullOf, isAddressSet } from './fields.ts';

type Value = number | Address;

/** Values of one field, both ends included. */
export interface Span {
  readonly low: Value;
  readonly high: Value;
}

/**
 * One field over ranks: between two neighbouring bounds of any set all values are alike, so a rank stands for all.
 * Held are the first value of each rank, and the last value of the last rank.
 */
export interface Scale {
  readonly starts: readonly Value[];
  readonly last: Value;
}

/** The scale on which all these sets fall on whole ranks. */
export function scaleOf(sets: Iterable<FieldSet>, { low, high }: Span): Scale {
  const starts =
    typeof low === 'number'
      ? numberStarts(sets as Iterable<NumberSet>, low, high as number)
      : addressStarts(sets as Iterable<AddressSet>, low, high as Address);
  return { starts, last: high };
}

/** All values of a field with plain numbers up to `top`; all IPv6 addresses when that is not a number. */
export function wholeSpan(top: number): Span {
  return Number.isNaN(top)
    ? { low: [0, 0, 0, 0], high: [0xffff_ffff, 0xffff_ffff, 0xffff_ffff, 0xffff_ffff] }
    : { low: 0, high: top };
}

/** From the lowest to the highest value that any region holds. */
export function spanOf(field: number, regions: readonly Box[], top: number): Span {
  let span: Span | undefined;
  for (const region of regions) {
    const set = region[field];
    if (set === undefined) return wholeSpan(top);
    const { low, high } = hullOf(set);
    if (span === undefined) span = { low, high };
    else {
      span = {
        low: compare(low, span.low) < 0 ? low : span.low,
        high: compare(high, span.high) > 0 ? high : span.high,
      };
    }
  }
  return span ?? wholeSpan(top);
}

/** A set as flat `[low, high, ...]` ranks within the span; undefined when it covers the whole span. */
function ranksOf(set: FieldSet, scale: Scale): Int32Array | undefined {
  const ranks = new Int32Array(isAddressSet(set) ? 2 * set.ranges.length : set.length);
  let n = 0;
  if (isAddressSet(set)) {
    for (const { low, high } of set.ranges) {
      if (compare(high, scale.starts[0]!) < 0 || compare(low, scale.last) > 0) continue;
      ranks[n++] = Math.max(1, startsUpTo(scale, low)) - 1;
      ranks[n++] = startsUpTo(scale, high) - 1;
    }
  } else {
    const starts = scale.starts as readonly number[];
    const last = scale.last as number;
    for (let i = 0; i < set.length; i += 2) {
      const low = set[i]!;
      const high = set[i + 1]!;
      if (high < starts[0]! || low > last) continue;
      ranks[n++] = Math.max(1, countUpTo(starts, low)) - 1;
      ranks[n++] = countUpTo(starts, high) - 1;
    }
  }
  const all = n === 2 && ranks[0] === 0 && ranks[1] === scale.starts.length - 1;
  return all ? undefined : n === ranks.length ? ranks : ranks.slice(0, n);
}

/** The sets of one field over ranks: equal ones once. */
export interface RankedSets {
  /** The first is undefined: any value. */
  readonly sets: readonly (Int32Array | undefined)[];
  /** By box, an index into `sets`. */
  readonly of: Int32Array;
}

/** Ranks the sets by which boxes limit a field. Sets that look alike within the span are one. */
export function rankSets(boxes: readonly Box[], field: number, scale: Scale): RankedSets {
  const sets: (Int32Array | undefined)[] = [undefined];
  const known = new Map<FieldSet | undefined, number>([[undefined, 0]]);
  const byHash = new Map<number, number[]>();
  const numberOf = (ranks: Int32Array | undefined): number => {
    if (ranks === undefined) return 0;
    const hash = hashOf(ranks);
    const alike = byHash.get(hash);
    const same = alike?.find((n) => sameNumbers(sets[n]!, ranks));
    if (same !== undefined) return same;
    if (alike === undefined) byHash.set(hash, [sets.length]);
    else alike.push(sets.length);
    return sets.push(ranks) - 1;
  };
  const of = new Int32Array(boxes.length);
  for (let i = 0; i < boxes.length; i++) {
    const set = boxes[i]![field];
    let number = known.get(set);
    if (number === undefined) {
      number = numberOf(ranksOf(set!, scale));
      known.set(set, number);
    }
    of[i] = number;
  }
  return { sets, of };
}

function hashOf(numbers: Int32Array): number {
  let hash = numbers.length;
  for (let i = 0; i < numbers.length; i++) hash = (Math.imul(hash, 0x01000193) ^ numbers[i]!) | 0;
  return hash;
}

function sameNumbers(a: Int32Array, b: Int32Array): boolean {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return false;
  return true;
}

/** The values that a set of ranks stands for; undefined when they are all up to `top`. */
export function valuesOf(scale: Scale, ranks: Int32Array | undefined, top: number): FieldSet | undefined {
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

function compare(a: Value, b: Value): number {
  return typeof a === 'number' ? a - (b as number) : compareAddresses(a, b as Address);
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
