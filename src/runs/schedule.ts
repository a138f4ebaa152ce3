import { type CaptureRecord, type Due, due, lateSince } from '#archive';
import type { Expectation } from '#store';
import type { RunEnvironment } from './environment.ts';

/** Under this name the recurrence of the round over the estate is kept. */
export const ROUND = 'round';

/** Is a round due by its recurrence, and when is the next? Null: none is set. */
export async function roundDue({ store, now }: RunEnvironment): Promise<Due | null> {
  const schedule = await store.schedules.get(ROUND);
  if (schedule === null) return null;
  const since = schedule.doneAt ?? schedule.setAt;
  const at = now();
  // A clock that was ahead must not put off rounds until it is that late again.
  if (Date.parse(since) > Date.parse(at)) await store.schedules.done(ROUND, at);
  return due(schedule, since, at);
}

/** A delivery that is late: when it should have come, and that in words. Null: all is well. */
export function lateDelivery(
  expected: Expectation,
  captures: readonly CaptureRecord[],
  now: string,
): { since: string; reason: string } | null {
  // One that is dated later than now came while a clock was wrong, and says nothing.
  const latest = Date.parse(now) + expected.graceSeconds * 1000;
  const last = captures.findLast(({ source, at }) => source === 'delivery' && Date.parse(at) <= latest);
  const since = lateSince(expected, last?.at ?? expected.setAt, expected.graceSeconds, now);
  if (since === null) return null;
  const had = last === undefined ? 'It has never delivered.' : `Its last delivery came ${last.at}.`;
  return { since, reason: `The delivery of ${since} did not come. ${had}` };
}

/** Every delivery that is late now. */
export async function lateDeliveries(
  environment: RunEnvironment,
): Promise<{ device: string; since: string; reason: string }[]> {
  const found = [];
  for (const [device, expected] of await environment.store.deliveries.expectations()) {
    const late = lateDelivery(expected, await environment.archive.list(device), environment.now());
    if (late !== null) found.push({ device, ...late });
  }
  return found;
}
