import { secondsOf } from './instant.ts';
import type { InterfaceReading, Reading } from './reading.ts';

/** The counters of an interface, by name. */
export const COUNTER_NAMES = [
  'inOctets',
  'outOctets',
  'inPackets',
  'outPackets',
  'inErrors',
  'outErrors',
  'inDiscards',
  'outDiscards',
] as const;
export type CounterName = (typeof COUNTER_NAMES)[number];

export type Told = 'yes' | 'no' | 'unknown';

/**
 * How far a counter moved between two readings without a discontinuity. It wraps from 2^bits - 1 to 0 (RFC 2578
 * sections 7.1.6 and 7.1.10), once at most: the interval must be shorter than `shortestWrapSeconds`.
 */
export function counterDifference(before: bigint, after: bigint, bits: 32 | 64): bigint {
  return after >= before ? after - before : after + (1n << BigInt(bits)) - before;
}

/**
 * The shortest time in which a counter can wrap, in seconds.
 * @param perSecond The most it can count in a second: octets (bits per second / 8) or packets.
 */
export function shortestWrapSeconds(bits: 32 | 64, perSecond: number): number {
  return 2 ** bits / perSecond;
}

/**
 * Errors and discards are Counter32 even where octets and packets have 64 bits (IF-MIB, RFC 2863). A value that needs
 * more than 32 bits shows that this device counts them wider.
 */
export function counterBits(name: CounterName, reading: InterfaceReading, ...values: bigint[]): 32 | 64 {
  if (name.endsWith('Octets') || name.endsWith('Packets')) return reading.counterBits;
  return values.some((value) => value >= 1n << 32n) ? 64 : 32;
}

/**
 * Did the device boot between two readings? A boot id decides; without one, an uptime too short for the time between
 * them does (2 s of play, and a clock that stood still or went back decides nothing).
 */
export function bootedBetween(before: Reading, after: Reading): Told {
  if (before.boot !== null && after.boot !== null) return before.boot === after.boot ? 'no' : 'yes';
  if (before.uptimeSeconds === null || after.uptimeSeconds === null) return 'unknown';
  if (after.uptimeSeconds < before.uptimeSeconds) return 'yes';
  const between = secondsOf(after.at) - secondsOf(before.at);
  if (between <= 0) return 'unknown';
  return after.uptimeSeconds + 2 < before.uptimeSeconds + between ? 'yes' : 'no';
}

/** Per second, or why there is no rate. */
export type Rate =
  | { readonly known: true; readonly perSecond: number }
  | { readonly known: false; readonly why: string };

export interface InterfaceRates {
  readonly name: string;
  readonly rates: Readonly<Record<CounterName, Rate>>;
}

/**
 * What each interface carried per second between two readings, for interfaces in both. There is no rate over a
 * discontinuity (RFC 2578 section 7.1.6, RFC 2863 ifCounterDiscontinuityTime).
 * @throws TuckpointError `reading/time` for a time stamp that cannot be read.
 */
export function interfaceRates(before: Reading, after: Reading): readonly InterfaceRates[] {
  const seconds = secondsOf(after.at) - secondsOf(before.at);
  const device = whyNoRate(seconds, bootedBetween(before, after));
  return after.interfaces.flatMap((now) => {
    const then = before.interfaces.find((other) => other.name === now.name);
    if (then === undefined) return [];
    const why = device ?? whyNotHere(then, now);
    const rates = Object.fromEntries(
      COUNTER_NAMES.map((name) => [name, rateOf(name, then, now, seconds, why)]),
    );
    return [{ name: now.name, rates: rates as Record<CounterName, Rate> }];
  });
}

function rateOf(
  name: CounterName,
  then: InterfaceReading,
  now: InterfaceReading,
  seconds: number,
  why: string | null,
): Rate {
  const [a, b] = [then[name], now[name]];
  if (a === null || b === null) return { known: false, why: 'the counter was not read both times' };
  if (why !== null) return { known: false, why };
  const moved = counterDifference(a, b, counterBits(name, now, a, b));
  return { known: true, perSecond: Number(moved) / seconds };
}

function whyNoRate(seconds: number, booted: Told): string | null {
  if (seconds <= 0) return 'no time passed between the readings by their time stamps';
  if (booted === 'yes') return 'the device booted in between, which starts its counters anew';
  if (booted === 'unknown') return 'whether the device booted in between is not known';
  return null;
}

function whyNotHere(then: InterfaceReading, now: InterfaceReading): string | null {
  if (then.counterBits !== now.counterBits) return 'the counters changed their width in between';
  if ((then.discontinuity ?? null) !== (now.discontinuity ?? null)) {
    return 'the device started the counters of this interface anew in between';
  }
  return null;
}
