import { Temporal } from 'temporal-polyfill';
import { archiveError } from './errors.ts';
import type { CaptureRecord } from './port.ts';

/**
 * What to keep, per device. Every number may be 0. Days, weeks (ISO 8601, from Monday), months and years are those
 * of the calendar in `zone`; today's, this week's, … is the first of them.
 */
export interface KeepRules {
  /** Every capture of the last so many days (to the same time of day). */
  readonly allForDays: number;
  /** The newest capture of each of the last so many days, weeks, months, years. */
  readonly daily: number;
  readonly weekly: number;
  readonly monthly: number;
  readonly yearly: number;
  /** IANA time zone name. */
  readonly zone: string;
}

export interface KeepDecision {
  readonly record: CaptureRecord;
  readonly keep: boolean;
  /** Why it is kept; empty when it is to go. */
  readonly because: readonly string[];
}

const PERIODS = ['daily', 'weekly', 'monthly', 'yearly'] as const;
type Period = (typeof PERIODS)[number];

/** The first day of the period that a day falls in. */
function firstDay(period: Period, day: Temporal.PlainDate): Temporal.PlainDate {
  if (period === 'weekly') return day.subtract({ days: day.dayOfWeek - 1 });
  if (period === 'monthly') return day.with({ day: 1 });
  if (period === 'yearly') return day.with({ month: 1, day: 1 });
  return day;
}

/** The first day of the oldest period still kept. */
function oldestKept(period: Period, count: number, today: Temporal.PlainDate): Temporal.PlainDate {
  const back = count - 1;
  const first = firstDay(period, today);
  if (period === 'weekly') return first.subtract({ weeks: back });
  if (period === 'monthly') return first.subtract({ months: back });
  if (period === 'yearly') return first.subtract({ years: back });
  return first.subtract({ days: back });
}

const NAMES = { daily: 'day', weekly: 'week', monthly: 'month', yearly: 'year' } as const;

function checkRules(rules: KeepRules): void {
  for (const field of ['allForDays', ...PERIODS] as const)
    if (!Number.isInteger(rules[field]) || rules[field] < 0 || rules[field] > 100_000)
      throw archiveError('archive/bad-rule', `${rules[field]} is not a number of periods.`, {
        field,
        advice: 'Give a whole number from 0.',
      });
  try {
    Temporal.Instant.fromEpochMilliseconds(0).toZonedDateTimeISO(rules.zone);
  } catch (cause) {
    throw archiveError('archive/bad-rule', `${rules.zone} is not a known time zone.`, {
      field: 'zone',
      advice: 'Give a name such as Europe/Vienna or UTC.',
      cause,
    });
  }
}

/**
 * Says for every capture whether the rules keep it, and why. Never to go: the newest capture of a device, one from
 * the future (a clock was wrong: judge by hand), and those in `protect` (id -> the reason; named by the user, the
 * newest one proven good, a run's reserve). Pure; `now` is RFC 3339. Throws `archive/bad-rule`.
 */
export function planRetention(
  records: readonly CaptureRecord[],
  rules: KeepRules,
  now: string,
  protect: ReadonlyMap<string, string> = new Map(),
): KeepDecision[] {
  checkRules(rules);
  const at = Temporal.Instant.from(now).toZonedDateTimeISO(rules.zone);
  const today = at.toPlainDate();
  const allSince = at.subtract({ days: rules.allForDays }).epochMilliseconds;
  const oldest = new Map(
    PERIODS.flatMap((period) =>
      rules[period] > 0 ? [[period, oldestKept(period, rules[period], today)] as const] : [],
    ),
  );
  // Newest first, so that the first capture met in a period is the newest of it.
  const newestFirst = records
    .map((record) => ({ record, at: Temporal.Instant.from(record.at).toZonedDateTimeISO(rules.zone) }))
    .sort((a, b) => b.at.epochMilliseconds - a.at.epochMilliseconds || (a.record.id < b.record.id ? 1 : -1));
  const seen = new Set<string>();
  const once = (key: string) => !seen.has(key) && seen.add(key) !== undefined;
  const decisions = newestFirst.map(({ record, at: taken }): KeepDecision => {
    const because: string[] = [];
    const day = taken.toPlainDate();
    if (once(record.device)) because.push('newest of the device');
    if (taken.epochMilliseconds > at.epochMilliseconds)
      because.push('taken later than now: a clock was wrong');
    if (rules.allForDays > 0 && taken.epochMilliseconds >= allSince)
      because.push(`within ${rules.allForDays} days`);
    for (const [period, from] of oldest) {
      const first = firstDay(period, day);
      if (Temporal.PlainDate.compare(first, from) < 0 || Temporal.PlainDate.compare(day, today) > 0) continue;
      if (once(`${record.device} ${period} ${first}`)) because.push(`newest of its ${NAMES[period]}`);
    }
    const protection = protect.get(record.id);
    if (protection !== undefined) because.push(protection);
    return { record, keep: because.length > 0, because };
  });
  return decisions.reverse();
}
