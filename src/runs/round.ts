import { insideOf, tidy } from '#archive';
import { codeOf, TuckpointError } from '#core/errors';
import { onlyDelivers } from '#store';
import { type Concern, concernsOf } from './concerns.ts';
import type { RunEnvironment } from './environment.ts';
import type { Decision, Listener } from './events.ts';
import { sentenceOf } from './machine.ts';
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
  /** True when it was told to stop before the last device: some were not looked at. */
  readonly cut: boolean;
}

/** The devices a round goes to: all but those that only deliver. */
export async function roundDevices({ store }: RunEnvironment): Promise<string[]> {
  return (await store.devices.list()).filter((device) => !onlyDelivers(device)).map(({ name }) => name);
}

/**
 * A pass over devices: each is captured and read, one after the other; a device that cannot be reached does not stop
 * the others. Then the archive is put in order where it has grown untidy. It ends in the concerns of the whole estate.
 * `goesOn` is asked before each device. Throws store errors only.
 */
export async function goRound(
  environment: RunEnvironment,
  names: readonly string[],
  tell: Listener,
  goesOn: () => boolean = () => true,
): Promise<RoundResult> {
  const devices: RoundResult['devices'][number][] = [];
  const found: Concern[] = [];
  let cut = false;
  for (const device of names) {
    if (!goesOn()) {
      cut = true;
      break;
    }
    try {
      const done = await startRun(environment, { device, procedure: 'round', goal: { round: true } }, tell);
      const { run, decision, reason, facts } = done;
      devices.push({ device, run, decision, capture: facts.captureBefore ?? null, reason });
      if (decision !== 'done') {
        found.push({ device, weight: 'now', reason, next: `tuckpoint capture ${device}` });
      }
    } catch (error) {
      if (!(error instanceof TuckpointError) || isOfTheStore(error)) throw error;
      const decision = codeOf(error) === 'store/device-busy' ? 'busy' : 'not done';
      devices.push({ device, run: null, decision, capture: null, reason: error.text });
      if (decision === 'not done')
        found.push({ device, weight: 'now', reason: error.text, next: `tuckpoint capture ${device}` });
    }
  }
  if (!cut) found.push(...(await tidied(environment)));
  return { devices, concerns: [...found, ...(await concernsOf(environment))], cut };
}

/** Does it concern all devices, not this one? */
function isOfTheStore({ code }: TuckpointError): boolean {
  return code.startsWith('store/') && code !== 'store/device-busy' && code !== 'store/only-delivers';
}

/** Packs what wants packing. That this fails harms no capture; it comes again after the next round. */
async function tidied({ archive }: RunEnvironment): Promise<Concern[]> {
  try {
    await tidy(insideOf(archive));
    return [];
  } catch (error) {
    const reason = `It could not be put in order: ${sentenceOf(error)}`;
    return [{ device: 'the archive', weight: 'soon', reason, next: 'tuckpoint archive pack' }];
  }
}
