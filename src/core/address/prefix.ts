import { type Address, compareAddresses, highestAddress, nextAddress, wordsOf } from './address.ts';
import { type AddressRange, type AddressSet, addressSet } from './address-set.ts';
import { familyOf, formatAddress, parseAddress } from './text.ts';

/** The addresses that share the first `length` bits of `address`; the other bits of `address` are zero. */
export interface Prefix {
  readonly address: Address;
  readonly length: number;
}

/** The first and last address of a prefix; bits of `address` beyond `length` are ignored. */
export function rangeOfPrefix(address: Address, length: number): AddressRange {
  if (length >= address.length * 32) return { low: address, high: address };
  const low = address.slice();
  const high = address.slice();
  for (let i = 0; i < address.length; i++) {
    const values = valuesBeyond(length, i);
    low[i]! -= low[i]! % values;
    high[i] = low[i]! + values - 1;
  }
  return { low, high };
}

/** How many values those bits of word number `word` can take that lie beyond the first `length` bits of an address. */
function valuesBeyond(length: number, word: number): number {
  const free = 32 - Math.min(32, Math.max(0, length - 32 * word));
  return free === 32 ? 0x1_0000_0000 : (1 << free) >>> 0;
}

/** The fewest prefixes that hold exactly the addresses of the range, in order. */
export function prefixesOfRange(range: AddressRange): Prefix[] {
  const prefixes: Prefix[] = [];
  const bits = wordsOf(familyOf(range.low)) * 32;
  let from: Address | undefined = range.low;
  while (from !== undefined && compareAddresses(from, range.high) <= 0) {
    let length = bits - trailingZeros(from);
    let covered = rangeOfPrefix(from, length);
    while (compareAddresses(covered.high, range.high) > 0) {
      length++;
      covered = rangeOfPrefix(from, length);
    }
    prefixes.push({ address: from, length });
    from = nextAddress(covered.high);
  }
  return prefixes;
}

function trailingZeros(address: Address): number {
  let zeros = 0;
  for (let i = address.length - 1; i >= 0; i--) {
    const word = address[i]!;
    if (word !== 0) return zeros + 31 - Math.clz32(word & -word);
    zeros += 32;
  }
  return zeros;
}

/** The prefix length of a range that is exactly one prefix, otherwise undefined. */
export function prefixLengthOf(range: AddressRange): number | undefined {
  const { low, high } = range;
  let length = 0;
  // The common leading bits, then zeros below and ones above.
  for (let i = 0; i < low.length; i++) {
    const common = Math.clz32((low[i]! ^ high[i]!) >>> 0);
    length += common;
    if (common < 32) break;
  }
  for (let i = 0; i < low.length; i++) {
    const values = valuesBeyond(length, i);
    if (low[i]! % values !== 0 || high[i] !== low[i]! + values - 1) return undefined;
  }
  return length;
}

/**
 * The set that one text means: an address, a prefix (`10.0.0.0/8`; host bits may be set and are ignored), an
 * address with a netmask (`10.0.0.0/255.0.0.0`, contiguous ones only) or a range (`10.0.0.4-10.0.0.9`).
 * Returns undefined for anything else.
 */
export function parseAddresses(text: string): AddressSet | undefined {
  const dash = text.indexOf('-');
  if (dash >= 0) {
    const low = parseAddress(text.slice(0, dash));
    const high = parseAddress(text.slice(dash + 1));
    if (low === undefined || high === undefined || low.length !== high.length) return undefined;
    return compareAddresses(low, high) > 0 ? undefined : addressSet(familyOf(low), [{ low, high }]);
  }
  const slash = text.indexOf('/');
  const address = parseAddress(slash < 0 ? text : text.slice(0, slash));
  if (address === undefined) return undefined;
  const length = slash < 0 ? address.length * 32 : prefixLength(text.slice(slash + 1), address);
  return length === undefined ? undefined : addressSet(familyOf(address), [rangeOfPrefix(address, length)]);
}

function prefixLength(text: string, address: Address): number | undefined {
  if (/^\d{1,3}$/.test(text)) {
    const length = Number(text);
    return length <= address.length * 32 ? length : undefined;
  }
  const mask = parseAddress(text);
  if (mask === undefined || mask.length !== address.length) return undefined;
  const length = mask.reduce((sum, word) => sum + Math.clz32(~word >>> 0), 0);
  const ones = rangeOfPrefix(highestAddress(familyOf(mask)), length).low;
  return compareAddresses(ones, mask) === 0 ? length : undefined;
}

/** A range as one address, one prefix, or `low-high`. */
export function formatRange(range: AddressRange): string {
  const length = prefixLengthOf(range);
  if (length === undefined) return `${formatAddress(range.low)}-${formatAddress(range.high)}`;
  return length === range.low.length * 32
    ? formatAddress(range.low)
    : `${formatAddress(range.low)}/${length}`;
}

/** A set as a list of texts that `parseAddresses` reads back; the whole family is `0.0.0.0/0` or `::/0`. */
export function formatAddresses(set: AddressSet): string[] {
  return set.ranges.map(formatRange);
}

/** The addresses of one prefix; bits of `address` beyond `length` are ignored. */
export function prefixSet(address: Address, length: number): AddressSet {
  return addressSet(familyOf(address), [rangeOfPrefix(address, length)]);
}
