import { TuckpointError } from '#core/errors';

const SHAPE =
  /^(\d{4})-(\d{2})-(\d{2})[Tt](\d{2}):(\d{2}):(\d{2})(?:\.(\d+))?(?:([Zz])|([+-])(\d{2}):(\d{2}))$/;
const MONTH_LENGTHS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/**
 * Seconds since 1970-01-01T00:00:00Z of an RFC 3339 time stamp, fractions kept. A leap second (`:60`, RFC 3339
 * section 5.7) is the same instant as the second that follows it.
 * @throws TuckpointError `reading/time` for a text of another form or a day that does not exist.
 */
export function secondsOf(at: string): number {
  const match = SHAPE.exec(at);
  const [year, month, day, hour, minute, second] = (match ?? []).slice(1, 7).map(Number);
  if (
    match === null ||
    year === undefined ||
    month! < 1 ||
    month! > 12 ||
    day! < 1 ||
    day! > daysIn(year, month!) ||
    hour! > 23 ||
    minute! > 59 ||
    second! > 60 ||
    Number(match[10] ?? 0) > 23 ||
    Number(match[11] ?? 0) > 59
  ) {
    throw new TuckpointError('reading/time', `"${at}" is no time stamp with a zone.`, {
      advice: 'Write it as in RFC 3339, such as 2026-03-01T04:05:06Z.',
    });
  }
  const fraction = match[7] === undefined ? 0 : Number(`0.${match[7]}`);
  const offset = match[8] === undefined ? (Number(match[10]) * 60 + Number(match[11])) * 60 : 0;
  const local = daysSince1970(year, month!, day!) * 86_400 + hour! * 3600 + minute! * 60 + second!;
  return local + fraction - (match[9] === '-' ? -offset : offset);
}

function daysIn(year: number, month: number): number {
  return month === 2 && isLeap(year) ? 29 : MONTH_LENGTHS[month - 1]!;
}

function isLeap(year: number): boolean {
  return year % 4 === 0 && (year % 100 !== 0 || year % 400 === 0);
}

/** Days of the Gregorian calendar, carried back before its start as RFC 3339 does. */
function daysSince1970(year: number, month: number, day: number): number {
  const before = year - 1;
  const leaps = Math.floor(before / 4) - Math.floor(before / 100) + Math.floor(before / 400);
  const months = MONTH_LENGTHS.slice(0, month - 1).reduce((sum, length) => sum + length, 0);
  const leapDay = month > 2 && isLeap(year) ? 1 : 0;
  return before * 365 + leaps + months + leapDay + day - 719_163;
}
