import { codeOf, TuckpointError } from '#core/errors';
import { type Concern, concernsOf } from './concerns.ts';
import type { RunEnvironment } from './environment.ts';
import type { Decision, Listener } from './events.ts';
import { startRun } from './runner.ts';

export interface RoundResult {
  readonly devices: readonly {
    readonly device: string;
    readonly run: string | null;
    readonly decision: Decision | 'busy';
    readonly capture: string | null;
    readonly reason: string;
  }[];
  readonly concerns: readonly Concern[];
}

/**
 * A pass over devices: each is captured and read, one after the other; a device that cannot be reached does not stop
 * the others. It ends in the concerns of the whole estate. Throws store errors only.
 */
export async function goRound(
  environment: RunEnvironment,
  names: readonly string[],
  tell: Listener,
): Promise<RoundResult> {
  const devices: RoundResult['devices'][number][] = [];
  const unreached: Concern[] = [];
  for (const device of names) {
    try {
      const done = await startRun(environment, { device, procedure: 'round', goal: { round: true } }, tell);
      const { run, decision, reason, facts } = done;
      devices.push({ device, run, decision, capture: facts.captureBefore ?? null, reason });
      if (decision !== 'done') {
        unreached.push({ device, weight: 'now', reason, next: `tuckpoint capture ${device}` });
      }
    } catch (error) {
      if (!(error instanceof TuckpointError) || codeOf(error) !== 'store/device-busy') throw error;
      devices.push({ device, run: null, decision: 'busy', capture: null, reason: error.message });
    }
  }
  return { devices, concerns: [...unreached, ...(await concernsOf(environment))] };
}
