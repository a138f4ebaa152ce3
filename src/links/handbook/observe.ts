import type { Identity, ObservedSlot, ObservedSlots } from '../port/index.ts';
import type { SlotsStep } from './actions.ts';
import { secondsOf } from './duration.ts';
import { type Match, readFields, readRows } from './read-output.ts';

/** What is missing from an output, in the handbook's words; the caller adds what came instead. */
export class Missing {
  constructor(readonly what: string) {}
}

/** Makes an identity of the values that identify read. */
export function identityFrom(values: Readonly<Record<string, string>>): Identity | Missing {
  const lacking = (['model', 'serial', 'hostname', 'release'] as const).filter((name) => !values[name]);
  if (lacking.length > 0) return new Missing(lacking.join(', '));
  return {
    model: values.model!,
    serial: values.serial!,
    hostname: values.hostname!,
    release: values.release!,
    boot: values.boot ?? null,
    uptimeSeconds: values.uptime === undefined ? null : uptimeOf(values.uptime),
  };
}

/** Seconds of `86400`, `86400.12` or `3d 4h 5m 6s`; null for anything else. */
export function uptimeOf(text: string): number | null {
  if (/^\d+(?:\.\d+)?$/u.test(text)) return Math.floor(Number(text));
  const seconds = secondsOf(text);
  return seconds === null ? null : Math.floor(seconds);
}

export interface SlotsRead {
  readonly slots: ObservedSlot[];
  running: string | null;
  next: string | null;
  readonly matches: Match[];
}

export const noSlots = (): SlotsRead => ({ slots: [], running: null, next: null, matches: [] });

/** Reads one step's output into what was read of the slots so far. */
export function readSlots(output: string, step: SlotsStep, into: SlotsRead): void {
  if (step.each !== undefined) {
    const { rows, matches } = readRows(output, step.each, step.record);
    into.matches.push(...matches);
    for (const { groups } of rows) {
      const id = groups.id!.trim();
      into.slots.push({ id, release: known(groups.release), configuration: known(groups.configuration) });
      for (const mark of ['running', 'next'] as const) {
        const condition = step[mark];
        if (condition?.pattern.regex.test(groups[condition.group] ?? '')) into[mark] = id;
      }
    }
  }
  const { values, matches } = readFields(output, step.read);
  into.matches.push(...matches);
  into.running = values.running ?? into.running;
  into.next = values.next ?? into.next;
}

/** Checks that what was read is a device of `count` slots. */
export function slotsFrom(read: SlotsRead, count: 1 | 2): ObservedSlots | Missing {
  const ids = read.slots.map((slot) => slot.id);
  if (ids.length !== count || new Set(ids).size !== count)
    return new Missing(
      `${count === 1 ? 'one slot' : 'two slots'} (found ${ids.length === 0 ? 'none' : ids.join(', ')})`,
    );
  if (read.running === null || !ids.includes(read.running)) return new Missing('the running slot');
  if (read.next === null || !ids.includes(read.next)) return new Missing('the slot that boots next');
  return { slots: read.slots, running: read.running, next: read.next };
}

/** A value that says something; `-` and nothing do not. */
function known(text: string | undefined): string | null {
  const value = text?.trim() ?? '';
  return value === '' || value === '-' ? null : value;
}
