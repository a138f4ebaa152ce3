import {
  type Address,
  compareAddresses,
  type Family,
  highestAddress,
  lowestAddress,
  nextAddress,
  previousAddress,
  wordsOf,
} from './address.ts';

/** All addresses from `low` to `high`, both included. */
export interface AddressRange {
  readonly low: Address;
  readonly high: Address;
}

/** A set of addresses of one family: ranges sorted, disjoint and never adjacent, so equal sets look equal. */
export interface AddressSet {
  readonly family: Family;
  readonly ranges: readonly AddressRange[];
}

/** A set from ranges in any order, overlapping or not. Ranges with `low` above `high` hold nothing. */
export function addressSet(family: Family, ranges: readonly AddressRange[]): AddressSet {
  const words = wordsOf(family);
  if (inOrder(ranges, words)) return { family, ranges };
  const joined = ranges
    .filter((range) => holdsSome(range, words))
    .sort((a, b) => compareAddresses(a.low, b.low));
  let count = 0;
  for (const range of joined) {
    const last = joined[count - 1];
    if (count === 0 || hasGap(last!.high, range.low)) joined[count++] = range;
    else if (compareAddresses(range.high, last!.high) > 0)
      joined[count - 1] = { low: last!.low, high: range.high };
  }
  // Cut to its size: an array that grew keeps room for many more.
  return { family, ranges: joined.slice(0, count) };
}

/** Is the range of this family, and not empty? */
function holdsSome({ low, high }: AddressRange, words: number): boolean {
  return low.length === words && high.length === words && compareAddresses(low, high) <= 0;
}

/** Are the ranges of this family, sorted, and with a gap between each and the next? */
function inOrder(ranges: readonly AddressRange[], words: number): boolean {
  let last: AddressRange | undefined;
  for (const range of ranges) {
    if (!holdsSome(range, words)) return false;
    if (last !== undefined && !hasGap(last.high, range.low)) return false;
    last = range;
  }
  return true;
}

/** Is there an address above `low` and below `high`? */
function hasGap(low: Address, high: Address): boolean {
  if (compareAddresses(low, high) >= 0) return false;
  const step = high.at(-1)! - low.at(-1)!;
  // Neighbours differ by one in the last word, or it has just run over.
  if (step !== 1 && step !== -0xffff_ffff) return true;
  return compareAddresses(nextAddress(low)!, high) < 0;
}

/** Every address of the family. */
export function everyAddress(family: Family): AddressSet {
  return { family, ranges: [{ low: lowestAddress(family), high: highestAddress(family) }] };
}

/** No address at all. */
export function noAddress(family: Family): AddressSet {
  return { family, ranges: [] };
}

/** Whether the set holds every address of its family. */
export function isEveryAddress(set: AddressSet): boolean {
  const [only] = set.ranges;
  if (only === undefined || set.ranges.length > 1) return false;
  return only.low.every((word) => word === 0) && only.high.every((word) => word === 0xffff_ffff);
}

/** Addresses in either set. Both sets must be of one family. */
export function uniteAddresses(a: AddressSet, b: AddressSet): AddressSet {
  return addressSet(a.family, [...a.ranges, ...b.ranges]);
}

/** Addresses in both sets. Both sets must be of one family. */
export function intersectAddresses(a: AddressSet, b: AddressSet): AddressSet {
  const ranges: AddressRange[] = [];
  let i = 0;
  let j = 0;
  while (i < a.ranges.length && j < b.ranges.length) {
    const x = a.ranges[i]!;
    const y = b.ranges[j]!;
    const low = compareAddresses(x.low, y.low) > 0 ? x.low : y.low;
    const high = compareAddresses(x.high, y.high) < 0 ? x.high : y.high;
    if (compareAddresses(low, high) <= 0) ranges.push({ low, high });
    if (compareAddresses(x.high, y.high) < 0) i++;
    else j++;
  }
  return { family: a.family, ranges };
}

/** Every address of the family that is not in the set. */
export function exceptAddresses(set: AddressSet): AddressSet {
  const ranges: AddressRange[] = [];
  let from: Address | undefined = lowestAddress(set.family);
  for (const range of set.ranges) {
    const before = previousAddress(range.low);
    if (from !== undefined && before !== undefined && compareAddresses(from, before) <= 0) {
      ranges.push({ low: from, high: before });
    }
    from = nextAddress(range.high);
  }
  if (from !== undefined) ranges.push({ low: from, high: highestAddress(set.family) });
  return { family: set.family, ranges };
}

/** Whether the address is in the set. An address of the other family never is. */
export function hasAddress(set: AddressSet, address: Address): boolean {
  if (address.length !== wordsOf(set.family)) return false;
  let low = 0;
  let high = set.ranges.length - 1;
  while (low <= high) {
    const middle = (low + high) >> 1;
    const range = set.ranges[middle]!;
    if (compareAddresses(address, range.low) < 0) high = middle - 1;
    else if (compareAddresses(address, range.high) > 0) low = middle + 1;
    else return true;
  }
  return false;
}
