import { COUNTER_NAMES, type CounterName, type InterfaceReading, type LinkState } from '#core/reading';
import type { ByteUnit } from '../handbook/index.ts';

/** Bytes of a unit (IEC 80000-13). */
export const UNIT_BYTES: Readonly<Record<ByteUnit, number>> = {
  B: 1,
  KiB: 1024,
  MiB: 1024 ** 2,
  GiB: 1024 ** 3,
};

/** An interface of the groups that a handbook names; a counter that is not there is null. */
export function interfaceFrom(groups: Readonly<Record<string, string>>, bits: 32 | 64): InterfaceReading {
  const counter = (name: string) => {
    const text = groups[name]?.trim() ?? '';
    return /^\d+$/u.test(text) ? BigInt(text) : null;
  };
  const counters = Object.fromEntries(COUNTER_NAMES.map((name) => [name, counter(name)])) as Record<
    CounterName,
    bigint | null
  >;
  return {
    name: groups.name!.trim(),
    admin: stateOf(groups.admin),
    oper: stateOf(groups.oper),
    counterBits: bits,
    ...counters,
  };
}

function stateOf(text: string | undefined): LinkState {
  const word = text?.trim().toLowerCase();
  return word === 'up' || word === 'down' ? word : 'unknown';
}

/** Throws an Error with one sentence where the text is no number. */
export function numberOf(text: string): number {
  const value = Number(text);
  if (text.trim() !== '' && Number.isFinite(value)) return value;
  throw new Error(`"${text}" is not a number.`);
}

export const bytesOf = (text: string, unit: ByteUnit): number => numberOf(text) * UNIT_BYTES[unit];

/** A text of digits is a number, anything else stays a text. */
export function fieldValue(text: string): string | number {
  return /^-?\d+(?:\.\d+)?$/u.test(text) ? Number(text) : text;
}
