import type { CaptureRecord } from '#archive';
import { spareSlot } from '#core/slots';
import type { RunEnvironment } from './environment.ts';

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

/** What needs attention in the estate, by what is known without asking any device. Weightiest first. */
export async function concernsOf(environment: RunEnvironment): Promise<Concern[]> {
  const { store, archive } = environment;
  const now = environment.now();
  const unfinished = await store.journal.unfinished();
  const concerns: Concern[] = [];
  for (const { name } of await store.devices.list()) {
    const captures = await archive.list(name);
    const run = unfinished.find((each) => each.device === name);
    if (run !== undefined) {
      const reason = `Run ${run.id} (${run.procedure}) ${run.state === 'stopped' ? `stopped: ${run.reason}` : 'was interrupted.'}`;
      concerns.push({ device: name, weight: 'now', reason, next: `tuckpoint resume ${run.id}` });
    }
    concerns.push(...captureConcerns(name, captures, now));
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

function captureConcerns(device: string, captures: readonly CaptureRecord[], now: string): Concern[] {
  const last = captures.at(-1);
  const next = `tuckpoint capture ${device}`;
  if (last === undefined) return [{ device, weight: 'now', reason: 'It has never been captured.', next }];
  const found: Concern[] = [];
  const days = (Date.parse(now) - Date.parse(last.at)) / 86_400_000;
  if (days > OLD_DAYS) {
    found.push({ device, weight: 'now', reason: `Its last capture is ${Math.floor(days)} days old.`, next });
  }
  if (last.source === 'unplanned') {
    const reason = `Its configuration was changed outside any run; seen ${last.at}.`;
    found.push({ device, weight: 'now', reason, next: `tuckpoint history ${device}` });
  }
  return found;
}
