import {
  type Address,
  type AddressSet,
  compareAddresses,
  type NumberSet,
  nextAddress,
  previousAddress,
} from '#core/address';
import { type Box, type FieldSet, hullOf, isAddressSet } from './fields.ts';

export type Value = number | Address;

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
export function ranksOf(set: FieldSet, scale: Scale): Int32Array | undefined {
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
