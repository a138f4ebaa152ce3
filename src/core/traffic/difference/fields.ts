import {
  type Address,
  type AddressSet,
  compareAddresses,
  type Family,
  intersectAddresses,
  intersectNumbers,
  type NumberSet,
} from '#core/address';
import type { ConnectionState } from '../policy.ts';

/**
 * The fields of a packet as the engine numbers them. `service` holds the destination port for protocols with
 * ports and type * 256 + code for ICMP; no rule can mean both, and the protocol always comes first in a diagram.
 * Named conditions follow, one field each.
 */
export const Field = {
  inInterface: 0,
  outInterface: 1,
  source: 2,
  destination: 3,
  protocol: 4,
  sourcePort: 5,
  service: 6,
  state: 7,
  firstCondition: 8,
} as const;

/** The states in the order of their numbers in the `state` field. */
export const STATES: readonly ConnectionState[] = ['new', 'established', 'related', 'invalid', 'untracked'];

/** IPv6 addresses need a set of their own; everything else, IPv4 included, is a set of numbers. */
export type FieldSet = NumberSet | AddressSet;

/** One set per field; undefined means any value. */
export type Box = readonly (FieldSet | undefined)[];

/** The highest value of each field with plain numbers. Interfaces depend on the names in use. */
export function topOf(field: number, family: Family, interfaces: number): number {
  switch (field) {
    case Field.inInterface:
    case Field.outInterface:
      return interfaces - 1;
    case Field.source:
    case Field.destination:
      return family === 4 ? 0xffff_ffff : Number.NaN;
    case Field.protocol:
      return 255;
    case Field.sourcePort:
    case Field.service:
      return 0xffff;
    case Field.state:
      return STATES.length - 1;
    default:
      return 1;
  }
}

export function isAddressSet(set: FieldSet): set is AddressSet {
  return 'family' in set;
}

/** IPv4 sets become plain numbers: half the rules of most policies, and far faster. */
export function fieldSetOf(addresses: AddressSet): FieldSet {
  if (addresses.family === 6) return addresses;
  // Most hold one range, and an array that grows keeps room for many more.
  const [first] = addresses.ranges;
  if (addresses.ranges.length === 1) return [first!.low[0]!, first!.high[0]!];
  const bounds: number[] = [];
  for (const { low, high } of addresses.ranges) bounds.push(low[0]!, high[0]!);
  return bounds;
}

export function isEmptySet(set: FieldSet): boolean {
  return isAddressSet(set) ? set.ranges.length === 0 : set.length === 0;
}

/** Values in both sets of one field. */
export function intersectSets(a: FieldSet, b: FieldSet): FieldSet {
  return isAddressSet(a) ? intersectAddresses(a, b as AddressSet) : intersectNumbers(a, b as NumberSet);
}

/** Whether two sets of one field share a value. */
export function setsOverlap(a: FieldSet, b: FieldSet): boolean {
  if (isAddressSet(a)) return addressesOverlap(a, b as AddressSet);
  const other = b as NumberSet;
  let i = 0;
  let j = 0;
  while (i < a.length && j < other.length) {
    if (a[i + 1]! < other[j]!) i += 2;
    else if (other[j + 1]! < a[i]!) j += 2;
    else return true;
  }
  return false;
}

function addressesOverlap(a: AddressSet, b: AddressSet): boolean {
  let i = 0;
  let j = 0;
  while (i < a.ranges.length && j < b.ranges.length) {
    const x = a.ranges[i]!;
    const y = b.ranges[j]!;
    if (compareAddresses(x.high, y.low) < 0) i++;
    else if (compareAddresses(y.high, x.low) < 0) j++;
    else return true;
  }
  return false;
}

/** Whether two boxes share a packet. */
export function boxesOverlap(a: Box, b: Box): boolean {
  const fields = Math.min(a.length, b.length);
  for (let f = 0; f < fields; f++) {
    const x = a[f];
    const y = b[f];
    if (x !== undefined && y !== undefined && !setsOverlap(x, y)) return false;
  }
  return true;
}

/** The packets in both boxes, or undefined when there are none. */
export function intersectBoxes(a: Box, b: Box): Box | undefined {
  const fields = Math.max(a.length, b.length);
  const both: (FieldSet | undefined)[] = [];
  for (let f = 0; f < fields; f++) {
    const x = a[f];
    const y = b[f];
    const set = x === undefined ? y : y === undefined ? x : intersectSets(x, y);
    if (set !== undefined && isEmptySet(set)) return undefined;
    both.push(set);
  }
  return both;
}

/** The lowest and highest value of a set that is not empty. */
export function hullOf(set: FieldSet): { low: number | Address; high: number | Address } {
  if (isAddressSet(set)) return { low: set.ranges[0]!.low, high: set.ranges.at(-1)!.high };
  return { low: set[0]!, high: set.at(-1)! };
}

/** Whether every packet of `a` is in `b`. */
export function isWithin(a: Box, b: Box): boolean {
  for (let field = 0; field < b.length; field++) {
    const outer = b[field];
    if (outer === undefined) continue;
    const inner = a[field];
    if (inner === undefined || !setWithin(inner, outer)) return false;
  }
  return true;
}

/** Both are ascending and merged where they touch, so each range must lie in one range of the other. */
function setWithin(inner: FieldSet, outer: FieldSet): boolean {
  if (isAddressSet(inner)) {
    const ranges = isAddressSet(outer) ? outer.ranges : [];
    let at = 0;
    return inner.ranges.every(({ low, high }) => {
      while (at < ranges.length && compareAddresses(ranges[at]!.high, high) < 0) at++;
      return at < ranges.length && compareAddresses(ranges[at]!.low, low) <= 0;
    });
  }
  const other = outer as NumberSet;
  let at = 0;
  for (let i = 0; i < inner.length; i += 2) {
    while (at < other.length && other[at + 1]! < inner[i + 1]!) at += 2;
    if (at >= other.length || other[at]! > inner[i]!) return false;
  }
  return true;
}
