import {
  type Address,
  type AddressRange,
  type AddressSet,
  addressSet,
  type Family,
  highestAddress,
  type NumberSet,
  numberSet,
  parseAddress,
  rangeOfPrefix,
} from '#core/address';
import { icmpNumberOf, protocolOf } from '../protocols.ts';
import { portOf } from '../services.ts';
import type { Expression } from '../syntax.ts';

/** The single values in an expression: sets and lists are opened, pairs give their keys. */
export function* singles(value: Expression): Generator<Expression> {
  if (typeof value === 'string') yield value;
  else if (value.kind === 'set') for (const element of value.elements) yield* singles(element);
  else if (value.kind === 'list') for (const item of value.items) yield* singles(item);
  else if (value.kind === 'pair') yield* singles(value.key);
  else yield value;
}

/** The single values in all these elements; the same list when there is nothing to open. */
export function openedUp(elements: readonly Expression[]): readonly Expression[] {
  const closed = elements.some(
    (value) =>
      typeof value !== 'string' && (value.kind === 'set' || value.kind === 'list' || value.kind === 'pair'),
  );
  return closed ? elements.flatMap((element) => [...singles(element)]) : elements;
}

const NUMBER = /^(0x[0-9a-fA-F]+|\d+)$/;

/** A whole number written in decimal or hexadecimal, or undefined. */
export function numberOf(text: string): number | undefined {
  return NUMBER.test(text) ? Number(text) : undefined;
}

/** How a named value of this field reads as a number. */
function namedNumber(field: string, text: string): number | undefined {
  if (field.endsWith(' sport') || field.endsWith(' dport')) return portOf(text);
  if (field.startsWith('icmp')) return icmpNumberOf(field, text);
  return protocolOf(text);
}

/** Ports, protocols or ICMP numbers from single values; null when one of them is not understood. */
export function numbersFrom(field: string, values: Iterable<Expression>, top: number): NumberSet | null {
  const pairs: [number, number][] = [];
  const single = (value: Expression): number | undefined =>
    typeof value === 'string' ? (numberOf(value) ?? namedNumber(field, value)) : undefined;
  for (const value of values) {
    if (typeof value !== 'string' && value.kind === 'any') pairs.push([0, top]);
    else if (typeof value !== 'string' && value.kind === 'range') {
      const from = single(value.from);
      const to = single(value.to);
      if (from === undefined || to === undefined) return null;
      pairs.push([from, to]);
    } else {
      const number = single(value);
      if (number === undefined) return null;
      pairs.push([number, number]);
    }
  }
  return numberSet(pairs);
}

/** Addresses of one family from single values; null when one of them is not understood. */
export function addressesFrom(family: Family, values: readonly Expression[]): AddressSet | null {
  if (values.length < WORTH_KEEPING) return readAddresses(family, values);
  const known = kept.get(values) ?? new Map<Family, AddressSet | null>();
  kept.set(values, known);
  const set = known.get(family) ?? readAddresses(family, values);
  known.set(family, set);
  return set;
}

/** Long lists come from named sets, which many rules ask about. */
const WORTH_KEEPING = 16;
const kept = new WeakMap<readonly Expression[], Map<Family, AddressSet | null>>();

function readAddresses(family: Family, values: readonly Expression[]): AddressSet | null {
  const ranges = new Array<AddressRange>(values.length);
  for (let i = 0; i < values.length; i++) {
    const range = addressRange(family, values[i]!);
    if (range === null) return null;
    ranges[i] = range;
  }
  return addressSet(family, ranges);
}

function addressRange(family: Family, value: Expression): AddressRange | null {
  if (typeof value === 'string') {
    const address = addressOf(family, value);
    return address === null ? null : { low: address, high: address };
  }
  if (value.kind === 'any') return { low: highestAddress(family).map(() => 0), high: highestAddress(family) };
  if (value.kind === 'range') {
    const low = addressOf(family, value.from);
    const high = addressOf(family, value.to);
    return low === null || high === null ? null : { low, high };
  }
  if (value.kind === 'prefix') {
    const address = addressOf(family, value.address);
    const length = prefixLength(family, value.length);
    return address === null || length === null ? null : rangeOfPrefix(address, length);
  }
  return null;
}

function addressOf(family: Family, value: Expression): Address | null {
  const address = typeof value === 'string' ? parseAddress(value) : undefined;
  return address === undefined || (address.length === 1) !== (family === 4) ? null : address;
}

/** `24` or a contiguous netmask `255.255.255.0`. */
function prefixLength(family: Family, value: Expression): number | null {
  if (typeof value !== 'string') return null;
  const number = numberOf(value);
  const bits = family === 4 ? 32 : 128;
  if (number !== undefined) return number <= bits ? number : null;
  return maskLength(family, value);
}

/** The length of a contiguous netmask, or null. */
export function maskLength(family: Family, text: string): number | null {
  const mask = parseAddress(text);
  if (mask === undefined || (mask.length === 1) !== (family === 4)) return null;
  let bits = '';
  for (const word of mask) bits += word.toString(2).padStart(32, '0');
  const length = bits.indexOf('0');
  if (length < 0) return bits.length;
  return bits.includes('1', length) ? null : length;
}
