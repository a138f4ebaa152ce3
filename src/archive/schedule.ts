import { RRuleTemporal } from 'rrule-temporal';
import { Temporal } from 'temporal-polyfill';
import { archiveError } from './errors.ts';

/** When something comes round: a rule of RFC 5545 section 3.3.10, counted from a local start in a time zone. */
export interface Recurrence {
  /** Such as `FREQ=DAILY;BYHOUR=3;BYMINUTE=30` (with or without `RRULE:` in front). */
  readonly rule: string;
  /** IANA time zone name, such as `Europe/Vienna`. The wall clock there decides, also over a change of the clocks. */
  readonly zone: string;
  /** The first occurrence can be no earlier: local date and time, such as `2026-01-01T00:00:00`. */
  readonly start: string;
}

export interface Due {
  /** The latest occurrence after `since` and not after `now`, or null: nothing is due. RFC 3339, with the zone's offset. */
  readonly due: string | null;
  /** The first occurrence after `now`, or null: the rule has ended. */
  readonly next: string | null;
}

function withOffset(time: Temporal.ZonedDateTime): string {
  return time.toString({ timeZoneName: 'never', smallestUnit: 'second' });
}

function ruleOf({ rule, zone, start }: Recurrence): RRuleTemporal<Temporal.ZonedDateTime> {
  const bad = (field: string, message: string, advice: string, cause: unknown) =>
    archiveError('archive/bad-recurrence', message, { field, advice, cause });
  let dtstart: Temporal.ZonedDateTime;
  try {
    dtstart = Temporal.PlainDateTime.from(start).toZonedDateTime(zone);
  } catch (cause) {
    throw bad(
      'start',
      `${start} in ${zone} is not a local time in a known zone.`,
      'Write 2026-01-01T00:00:00 and a zone such as Europe/Vienna.',
      cause,
    );
  }
  try {
    return new RRuleTemporal({
      rruleString: rule.startsWith('RRULE:') ? rule : `RRULE:${rule}`,
      dtstart,
      tzid: zone,
      strict: true,
      temporal: Temporal,
    });
  } catch (cause) {
    throw bad(
      'rule',
      `${rule} is not a recurrence rule.`,
      'Write it like FREQ=DAILY;BYHOUR=3;BYMINUTE=0 (RFC 5545 section 3.3.10).',
      cause,
    );
  }
}

/**
 * Is it time? Occurrences missed while nobody looked count once: the latest is due. `since` is when it was last done
 * (or when the recurrence was set), `now` the present, both RFC 3339. A clock gone backwards (`now` before `since`)
 * makes nothing due. Throws `archive/bad-recurrence`.
 */
export function due(recurrence: Recurrence, since: string, now: string): Due {
  const rule = ruleOf(recurrence);
  const at = Temporal.Instant.from(now);
  const from = Temporal.Instant.from(since);
  const here = at.toZonedDateTimeISO(recurrence.zone);
  const last = rule.previous(here, true);
  const next = rule.next(here, false);
  return {
    due: last !== null && Temporal.Instant.compare(last.toInstant(), from) > 0 ? withOffset(last) : null,
    next: next === null ? null : withOffset(next),
  };
}

/**
 * Should a device have delivered by now and has not? `last` is its last delivery (or when it was expected first),
 * `grace` the seconds a delivery may be late. The answer is when it should have come, or null: all is well.
 */
export function lateSince(recurrence: Recurrence, last: string, grace: number, now: string): string | null {
  const before = Temporal.Instant.from(now).subtract({ seconds: grace });
  // What came shortly before its time was meant for it: clocks of devices run ahead, too.
  const had = Temporal.Instant.from(last).add({ seconds: grace });
  return due(recurrence, had.toString(), before.toString()).due;
}
