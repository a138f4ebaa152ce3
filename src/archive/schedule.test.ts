import { describe, expect, it } from 'vitest';
import { due, lateSince } from './schedule.ts';

const nightly = {
  rule: 'FREQ=DAILY;BYHOUR=3;BYMINUTE=30;BYSECOND=0',
  zone: 'Europe/Vienna',
  start: '2026-01-01T00:00:00',
};

describe('a round every night at half past three, Vienna time', () => {
  it('is due after 3:30 and not before', () => {
    expect(due(nightly, '2026-02-01T03:30:00+01:00', '2026-02-02T03:29:59+01:00').due).toBeNull();
    expect(due(nightly, '2026-02-01T03:30:00+01:00', '2026-02-02T03:30:00+01:00')).toEqual({
      due: '2026-02-02T03:30:00+01:00',
      next: '2026-02-03T03:30:00+01:00',
    });
  });

  it('is due once after a week in which nobody looked', () => {
    expect(due(nightly, '2026-02-01T03:30:00+01:00', '2026-02-08T12:00:00Z').due).toBe(
      '2026-02-08T03:30:00+01:00',
    );
  });

  it('is due nothing when the clock has gone backwards', () => {
    expect(due(nightly, '2026-02-08T12:00:00Z', '2026-02-03T12:00:00Z').due).toBeNull();
  });

  // EU directive 2000/84/EC: clocks go forward on the last Sunday of March (29 March 2026), back on the last of October.
  it('keeps to the wall clock when the clocks change', () => {
    expect(due(nightly, '2026-03-28T12:00:00Z', '2026-03-29T12:00:00Z').due).toBe(
      '2026-03-29T03:30:00+02:00',
    );
    expect(due(nightly, '2026-10-24T12:00:00Z', '2026-10-25T12:00:00Z').due).toBe(
      '2026-10-25T03:30:00+01:00',
    );
  });
});

// RFC 5545 section 3.8.5.3: "Every last Friday"-like examples: FREQ=MONTHLY;BYDAY=1FR gives September 5 and October 3, 1997.
it('a rule of RFC 5545 gives the dates printed there (first Friday of the month)', () => {
  const firstFriday = {
    rule: 'FREQ=MONTHLY;BYDAY=1FR',
    zone: 'America/New_York',
    start: '1997-09-05T09:00:00',
  };
  expect(due(firstFriday, '1997-09-01T00:00:00Z', '1997-09-30T00:00:00Z')).toEqual({
    due: '1997-09-05T09:00:00-04:00',
    next: '1997-10-03T09:00:00-04:00',
  });
});

it('a rule that has ended has no next', () => {
  const thrice = { rule: 'FREQ=DAILY;COUNT=3', zone: 'UTC', start: '2026-01-01T00:00:00' };
  expect(due(thrice, '2026-01-03T00:00:00Z', '2026-01-09T00:00:00Z')).toEqual({ due: null, next: null });
});

it.each([
  [{ ...nightly, rule: 'FREQ=NOW' }, 'rule'],
  // RFC 5545 section 3.3.10: hours are 0 to 23, and FOO is no part of a rule; 30 February never comes.
  [{ ...nightly, rule: 'FREQ=DAILY;BYHOUR=25' }, 'rule'],
  [{ ...nightly, rule: 'FREQ=DAILY;BYHOUR=' }, 'rule'],
  [{ ...nightly, rule: 'FREQ=DAILY;FOO=1' }, 'rule'],
  [{ ...nightly, rule: 'FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30' }, 'rule'],
  [{ ...nightly, rule: '' }, 'rule'],
  [{ ...nightly, zone: 'Europe/Gull_Quay' }, 'start'],
  [{ ...nightly, start: 'soon' }, 'start'],
])('%j is refused with the field that is wrong', (recurrence, field) => {
  expect(() => due(recurrence, '2026-01-01T00:00:00Z', '2026-01-01T00:00:00Z')).toThrow(
    expect.objectContaining({ code: 'archive/bad-recurrence', place: { field } }),
  );
});

describe('a device that delivers every night, one hour allowed', () => {
  it('is not late within the hour, and late after it', () => {
    expect(lateSince(nightly, '2026-02-01T03:31:00+01:00', 3600, '2026-02-02T04:29:00+01:00')).toBeNull();
    expect(lateSince(nightly, '2026-02-01T03:31:00+01:00', 3600, '2026-02-02T04:31:00+01:00')).toBe(
      '2026-02-02T03:30:00+01:00',
    );
  });

  it('that comes a little early is not late', () => {
    expect(lateSince(nightly, '2026-02-02T03:20:00+01:00', 3600, '2026-02-02T09:00:00+01:00')).toBeNull();
  });
});
