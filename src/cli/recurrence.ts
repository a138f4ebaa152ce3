import { due, type Recurrence } from '#archive';
import { TuckpointError } from '#core/errors';

export interface RecurrenceOptions {
  zone: string;
  start?: string;
}

/** The zone of this machine, where none is given. */
export const HERE = Intl.DateTimeFormat().resolvedOptions().timeZone;

/** The recurrence a user wrote, and when it next comes. Throws `archive/bad-recurrence`, `cli/never`. */
export function recurrenceOf(
  text: string,
  { zone, start }: RecurrenceOptions,
  now: string,
): { recurrence: Recurrence; next: string } {
  // RFC 5545 section 3.1: names and values are the same in capitals and small letters.
  const rule = text.toUpperCase().replace(/^RRULE:/, '');
  const recurrence = { rule, zone, start: start ?? `${dayIn(zone, now)}T00:00:00` };
  const { next } = due(recurrence, now, now);
  if (next === null)
    throw new TuckpointError('cli/never', `${rule} never comes again.`, {
      place: { field: 'rule' },
      advice: 'Look at its UNTIL, its COUNT and the start.',
    });
  return { recurrence, next };
}

/** The day it is in a zone, `2026-11-25`. An unknown zone is for the recurrence itself to refuse. */
function dayIn(zone: string, now: string): string {
  try {
    return new Intl.DateTimeFormat('sv-SE', { timeZone: zone, dateStyle: 'short' }).format(new Date(now));
  } catch {
    return now.slice(0, 10);
  }
}

export function recurrenceText({ rule, zone }: Pick<Recurrence, 'rule' | 'zone'>): string {
  return `${rule} (${zone})`;
}
