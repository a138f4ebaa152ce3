import { z } from 'zod';

const UNIT_SECONDS: Readonly<Record<string, number>> = { ms: 0.001, s: 1, m: 60, h: 3600, d: 86_400 };
const PART = /(\d+(?:\.\d+)?)\s*(ms|s|m|h|d)/gu;
const WHOLE = /^(?:\d+(?:\.\d+)?\s*(?:ms|s|m|h|d)\s*)+$/u;

/** Seconds of a duration such as `20s`, `1m 30s`, `2h`, `500ms`; null where it is none. */
export function secondsOf(text: string): number | null {
  if (!WHOLE.test(text.trim())) return null;
  let seconds = 0;
  for (const [, count, unit] of text.matchAll(PART)) seconds += Number(count) * UNIT_SECONDS[unit!]!;
  return seconds;
}

/** Schema of a duration of more than nothing; the parsed value is in seconds. */
export function duration() {
  return z.union([z.string(), z.number()]).transform((value, context): number => {
    const seconds = typeof value === 'string' ? secondsOf(value) : null;
    if (seconds !== null && seconds > 0) return seconds;
    context.addIssue({
      code: 'custom',
      message: `"${value}" is not a duration: write a number and a unit, such as 20s, 10m or 1h.`,
    });
    return z.NEVER;
  });
}
