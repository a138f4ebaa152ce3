import type { CaptureRecord } from '#archive';
import { spareSlot } from '#core/slots';
import { type DeviceRecord, onlyDelivers } from '#store';
import type { RunEnvironment } from './environment.ts';
import { lateDelivery } from './schedule.ts';

/** One thing that needs attention. */
export interface Concern {
  readonly device: string;
  /** `now`: something is broken or waits; `soon`: the way back is not what it should be. */
  readonly weight: 'now' | 'soon';
  readonly reason: string;
  /** The next step, as a command or a sentence. */
  readonly next: string;
}

/** A capture older than this is a concern, in days. Common practice, no source. */
const OLD_DAYS = 8;

/** A capture dated this much later than now was not just stepped over by a clock set right, in days. */
const AHEAD_DAYS = 1 / 24;

/** What needs attention in the estate, by what is known without asking any device. Weightiest first. */
export async function concernsOf(environment: RunEnvironment): Promise<Concern[]> {
  const { store, archive } = environment;
  const now = environment.now();
  const unfinished = await store.journal.unfinished();
  const expectations = await store.deliveries.expectations();
  const concerns: Concern[] = [];
  for (const device of await store.devices.list()) {
    const { name } = device;
    const captures = await archive.list(name);
    const run = unfinished.find((each) => each.device === name);
    if (run !== undefined) {
      const reason = `Run ${run.id} (${run.procedure}) ${run.state === 'stopped' ? `stopped: ${run.reason}` : 'was interrupted.'}`;
      concerns.push({ device: name, weight: 'now', reason, next: `tuckpoint resume ${run.id}` });
    }
    const expected = expectations.get(name);
    const late = expected === undefined ? null : lateDelivery(expected, captures, now);
    if (late !== null)
      concerns.push({ device: name, weight: 'now', reason: late.reason, next: afterLate(device) });
    concerns.push(...captureConcerns(device, captures, now, expected !== undefined));
    const seen = await store.observations.lastSighting(name);
    const spare = seen === null ? null : spareSlot(seen.slots);
    if (seen !== null && spare !== null && !spare.bootedWell) {
      concerns.push({
        device: name,
        weight: 'soon',
        reason: `As last seen ${seen.at}, the spare slot holds ${spare.release ?? 'nothing known'}, which has not booted well here.`,
        next: `tuckpoint slots keep ${name}`,
      });
    }
  }
  return concerns.sort((a, b) => (a.weight === b.weight ? 0 : a.weight === 'now' ? -1 : 1));
}

/** What to do about a delivery that did not come. */
function afterLate(device: DeviceRecord): string {
  const look = `Look at the backup settings of ${device.name} itself`;
  return onlyDelivers(device) ? `${look}.` : `${look}, or take one: tuckpoint capture ${device.name}`;
}

function captureConcerns(
  device: DeviceRecord,
  captures: readonly CaptureRecord[],
  now: string,
  expected: boolean,
): Concern[] {
  const { name } = device;
  const last = captures.at(-1);
  const next = onlyDelivers(device) ? `tuckpoint delivery list ${name}` : `tuckpoint capture ${name}`;
  if (last === undefined) {
    const reason = onlyDelivers(device) ? 'It has never delivered.' : 'It has never been captured.';
    return [{ device: name, weight: 'now', reason, next }];
  }
  const found: Concern[] = [];
  const days = (Date.parse(now) - Date.parse(last.at)) / 86_400_000;
  // A device that only delivers is measured by what is expected of it, if anything is.
  if (days > OLD_DAYS && !(expected && onlyDelivers(device))) {
    const reason = `Its last capture is ${Math.floor(days)} days old.`;
    found.push({ device: name, weight: 'now', reason, next });
  }
  if (days < -AHEAD_DAYS) {
    const reason = `Its last capture is dated ${last.at}, later than now: a clock was or is wrong.`;
    found.push({
      device: name,
      weight: 'now',
      reason,
      next: 'Compare the clock of the workbench, then capture again.',
    });
  }
  if (last.source === 'unplanned') {
    const reason = `Its configuration was changed outside any run; seen ${last.at}.`;
    found.push({ device: name, weight: 'now', reason, next: `tuckpoint history ${name}` });
  }
  return found;
}
