import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { CaptureRecord } from './port.ts';
import { type KeepRules, planRetention } from './retention.ts';

const NONE: KeepRules = { allForDays: 0, daily: 0, weekly: 0, monthly: 0, yearly: 0, zone: 'UTC' };

function capture(at: string, device = 'gull-quay-1'): CaptureRecord {
  return { id: at, device, at, source: 'round', release: null, slot: null, run: null, digest: '', files: [] };
}

function kept(times: readonly string[], rules: Partial<KeepRules>, now: string): string[] {
  return planRetention(
    times.map((at) => capture(at)),
    { ...NONE, ...rules },
    now,
  )
    .filter((decision) => decision.keep)
    .map((decision) => decision.record.at);
}

// Calendars worked out by hand.
describe('the keep rules', () => {
  it('keep the newest of each day, today counting as the first', () => {
    const times = [
      '2026-05-01T01:00:00Z',
      '2026-05-02T01:00:00Z',
      '2026-05-02T23:00:00Z',
      '2026-05-03T01:00:00Z',
    ];
    expect(kept(times, { daily: 2 }, '2026-05-03T12:00:00Z')).toEqual([
      '2026-05-02T23:00:00Z',
      '2026-05-03T01:00:00Z',
    ]);
  });

  it('count 29 February as a day of its own in a leap year, and pass over it in others', () => {
    // 2028 is a leap year: 28 February, 29 February, 1 March are three days in a row.
    const leap = [
      '2028-02-27T12:00:00Z',
      '2028-02-28T12:00:00Z',
      '2028-02-29T12:00:00Z',
      '2028-03-01T12:00:00Z',
    ];
    expect(kept(leap, { daily: 3 }, '2028-03-01T13:00:00Z')).toEqual(leap.slice(1));
    const usual = [
      '2027-02-26T12:00:00Z',
      '2027-02-27T12:00:00Z',
      '2027-02-28T12:00:00Z',
      '2027-03-01T12:00:00Z',
    ];
    expect(kept(usual, { daily: 3 }, '2027-03-01T13:00:00Z')).toEqual(usual.slice(1));
    // 2100 is none (divisible by 100, not by 400).
    const century = ['2100-02-27T12:00:00Z', '2100-02-28T12:00:00Z', '2100-03-01T12:00:00Z'];
    expect(kept(century, { daily: 2 }, '2100-03-01T13:00:00Z')).toEqual(century.slice(1));
  });

  it('keep the newest of each month, of 29 February too', () => {
    const times = [
      '2028-01-31T12:00:00Z',
      '2028-02-28T12:00:00Z',
      '2028-02-29T12:00:00Z',
      '2028-03-31T12:00:00Z',
    ];
    expect(kept(times, { monthly: 2 }, '2028-03-31T13:00:00Z')).toEqual([
      '2028-02-29T12:00:00Z',
      '2028-03-31T12:00:00Z',
    ]);
  });

  it('count weeks from Monday as ISO 8601 does: 1 to 3 January 2027 belong to the week of 28 December 2026', () => {
    const times = [
      '2026-12-27T12:00:00Z',
      '2026-12-28T12:00:00Z',
      '2027-01-03T12:00:00Z',
      '2027-01-04T12:00:00Z',
    ];
    expect(kept(times, { weekly: 2 }, '2027-01-04T13:00:00Z')).toEqual([
      '2027-01-03T12:00:00Z',
      '2027-01-04T12:00:00Z',
    ]);
  });

  it('put a capture into the day of the wall clock, also when the clocks change', () => {
    // London, 25 October 2026: clocks go back at 01:00 UTC; the day has 25 hours, from 24 October 23:00 UTC.
    const autumn = [
      '2026-10-24T22:59:00Z',
      '2026-10-24T23:30:00Z',
      '2026-10-25T23:30:00Z',
      '2026-10-26T00:30:00Z',
    ];
    const rules = { daily: 2, zone: 'Europe/London' };
    expect(kept(autumn, rules, '2026-10-26T12:00:00Z')).toEqual([
      '2026-10-25T23:30:00Z',
      '2026-10-26T00:30:00Z',
    ]);
    // 29 March 2026: clocks go forward; the day has 23 hours and ends at 23:00 UTC.
    const spring = ['2026-03-29T00:30:00Z', '2026-03-29T22:30:00Z', '2026-03-29T23:30:00Z'];
    expect(kept(spring, rules, '2026-03-30T12:00:00Z')).toEqual([
      '2026-03-29T22:30:00Z',
      '2026-03-29T23:30:00Z',
    ]);
  });

  it('keep all of the last days to the same time of day, an hour more or less when the clocks changed between', () => {
    // Noon in London on 26 October is 12:00 UTC; noon two days before was 11:00 UTC.
    const times = ['2026-10-24T10:59:00Z', '2026-10-24T11:00:00Z', '2026-10-26T11:00:00Z'];
    const now = '2026-10-26T12:00:00Z';
    expect(kept(times, { allForDays: 2, zone: 'Europe/London' }, now)).toEqual(times.slice(1));
    expect(kept(times, { allForDays: 2, zone: 'UTC' }, now)).toEqual(times.slice(2));
  });

  it('work together: a year of daily captures thinned to days, weeks, months and years', () => {
    const start = Date.UTC(2025, 0, 1, 3);
    const times = Array.from({ length: 730 }, (_, i) => new Date(start + i * 86_400_000).toISOString());
    const left = kept(
      times,
      { allForDays: 3, daily: 7, weekly: 4, monthly: 12, yearly: 5 },
      '2026-12-31T12:00:00Z',
    );
    // By hand: 31 December 2026 is a Thursday. Days: 25 to 31. Weeks end on Sundays: 27, 20, 13 (and the 31st).
    // Months: the last days of January to December 2026. Years: 31 December 2025 and 2026.
    expect(left.map((at) => at.slice(0, 10))).toEqual([
      '2025-12-31',
      '2026-01-31',
      '2026-02-28',
      '2026-03-31',
      '2026-04-30',
      '2026-05-31',
      '2026-06-30',
      '2026-07-31',
      '2026-08-31',
      '2026-09-30',
      '2026-10-31',
      '2026-11-30',
      '2026-12-13',
      '2026-12-20',
      '2026-12-25',
      '2026-12-26',
      '2026-12-27',
      '2026-12-28',
      '2026-12-29',
      '2026-12-30',
      '2026-12-31',
    ]);
  });

  it('never let go of the newest of a device, of one protected, of one from the future', () => {
    const records = [
      capture('2020-01-01T00:00:00Z', 'sandgate-1'),
      capture('2019-01-01T00:00:00Z', 'sandgate-1'),
      capture('2018-01-01T00:00:00Z', 'sandgate-1'),
      capture('2031-01-01T00:00:00Z', 'north-mole-1'),
      capture('2032-01-01T00:00:00Z', 'north-mole-1'),
    ];
    const protect = new Map([['2018-01-01T00:00:00Z', 'reserve of a run']]);
    const plan = planRetention(records, NONE, '2026-01-01T00:00:00Z', protect);
    expect(plan.filter((d) => !d.keep).map((d) => d.record.at)).toEqual(['2019-01-01T00:00:00Z']);
    expect(plan[0]).toMatchObject({ because: ['reserve of a run'] });
  });

  it('keep more, never less, when a number is raised', () => {
    const instant = fc
      .integer({ min: Date.UTC(2024, 0, 1), max: Date.UTC(2026, 0, 1) })
      .map((ms) => new Date(ms).toISOString());
    const count = fc.integer({ min: 0, max: 40 });
    const rules = fc.record({
      allForDays: count,
      daily: count,
      weekly: count,
      monthly: count,
      yearly: count,
    });
    const field = fc.constantFrom('allForDays', 'daily', 'weekly', 'monthly', 'yearly');
    fc.assert(
      fc.property(fc.uniqueArray(instant, { maxLength: 60 }), rules, field, (times, less, raised) => {
        const before = kept(times, less, '2026-01-01T00:00:00Z');
        const after = kept(times, { ...less, [raised]: less[raised] + 3 }, '2026-01-01T00:00:00Z');
        expect(after).toEqual(expect.arrayContaining(before));
      }),
      { numRuns: 60 },
    );
  });

  it.each([{ daily: -1 }, { weekly: 1.5 }, { zone: 'Harbour/Time' }])('refuse %j', (wrong) => {
    expect(() => kept([], wrong, '2026-01-01T00:00:00Z')).toThrow(
      expect.objectContaining({ code: 'archive/bad-rule' }),
    );
  });
});
