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

const HOW = 'Write it like FREQ=DAILY;BYHOUR=3;BYMINUTE=0 (RFC 5545 section 3.3.10).';

/** The parts of a rule and the whole numbers that may stand there (RFC 5545 section 3.3.10); null: no number. */
const PARTS: Readonly<Record<string, readonly [number, number] | null>> = {
  FREQ: null,
  UNTIL: null,
  COUNT: [1, 1_000_000],
  INTERVAL: [1, 1_000_000],
  BYSECOND: [0, 60],
  BYMINUTE: [0, 59],
  BYHOUR: [0, 23],
  BYDAY: null,
  BYMONTHDAY: [-31, 31],
  BYYEARDAY: [-366, 366],
  BYWEEKNO: [-53, 53],
  BYMONTH: [1, 12],
  BYSETPOS: [-366, 366],
  WKST: null,
};

/** What the library takes in silence and would leave out: a part it does not know, a number that cannot be. */
function misspelt(rule: string): string | null {
  for (const part of rule.replace(/^RRULE:/, '').split(';')) {
    const [name = '', value = ''] = part.split('=');
    const range = PARTS[name];
    if (range === undefined) return `${part} is no part of a recurrence rule`;
    if (range === null) continue;
    for (const number of value.split(','))
      if (!/^[+-]?\d+$/.test(number) || Number(number) < range[0] || Number(number) > range[1])
        return `${name} cannot be ${number}`;
  }
  return null;
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
  const wrong = misspelt(rule);
  if (wrong !== null) throw bad('rule', `${rule} is not a recurrence rule: ${wrong}.`, HOW, undefined);
  try {
    return new RRuleTemporal({
      rruleString: rule.startsWith('RRULE:') ? rule : `RRULE:${rule}`,
      dtstart,
      tzid: zone,
      strict: true,
      temporal: Temporal,
    });
  } catch (cause) {
    throw bad('rule', `${rule} is not a recurrence rule.`, HOW, cause);
  }
}

/** The occurrences before (or at) and after an instant. A rule that never comes makes the library give up. */
function around(
  rule: RRuleTemporal<Temporal.ZonedDateTime>,
  here: Temporal.ZonedDateTime,
  text: string,
): Record<'last' | 'next', Temporal.ZonedDateTime | null> {
  try {
    return { last: rule.previous(here, true), next: rule.next(here, false) };
  } catch (cause) {
    throw archiveError('archive/bad-recurrence', `${text} never comes.`, {
      field: 'rule',
      advice: 'Look for a day that no month has.',
      cause,
    });
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
  const { last, next } = around(rule, here, recurrence.rule);
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
