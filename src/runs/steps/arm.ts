import { configurationDigest } from '#archive';
import { codeOf, TuckpointError } from '#core/errors';
import type { Facts } from '../facts.ts';
import { returnSeconds } from '../graft/return-time.ts';
import { wantedFiles } from '../graft/wanted-files.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/**
 * Tells the device to return to its present configuration by itself unless it hears from the workbench in time: the
 * idea of a confirmed commit (RFC 6241 section 8.4). The time covers applying, a restart, and all checks.
 */
export function arm(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'arm',
    title: 'tell the device to return to its present configuration by itself unless disarmed in time',
    applies,
    async act(run): Promise<Facts> {
      if (!(await run.deviceFacts()).canArmReturn) return {};
      await unchangedOrThrow(run);
      return armNow(run);
    },
  };
}

/** Arms again when the time left no longer covers what is to come: after a kill, much may have passed. */
export async function armedStill(run: RunContext): Promise<Facts> {
  const { armedUntil, restartNeeded } = run.facts;
  const facts = await run.deviceFacts();
  if (!facts.canArmReturn || armedUntil === undefined) return {};
  const left = (Date.parse(armedUntil) - Date.parse(run.environment.now())) / 1000;
  const needed = returnSeconds(facts, restartNeeded === true) - facts.limits.commandSeconds;
  return left >= needed ? {} : armNow(run);
}

async function armNow(run: RunContext): Promise<Facts> {
  const seconds = returnSeconds(await run.deviceFacts(), run.facts.restartNeeded === true);
  // Counted from before the order: the device does not return earlier than this.
  const from = Date.parse(run.environment.now());
  await (await run.link()).armReturn(seconds);
  return { armedUntil: new Date(from + seconds * 1000).toISOString() };
}

/** The device must still hold what it held at the capture: that is what it will return to. */
async function unchangedOrThrow(run: RunContext): Promise<void> {
  if (configurationDigest(await run.capture('running')) === run.facts.digestBefore) return;
  throw new TuckpointError(
    'runs/not-as-expected',
    `${run.device.name} was changed by somebody else while this run was at work; nothing was changed by it.`,
    { advice: 'Look who is at work on it, then begin again.' },
  );
}

/** The run decided to keep: the device no longer returns, and still holds the new configuration. */
export function disarm(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'disarm',
    title: 'disarm the automatic return, and see that the new configuration is still there',
    applies,
    async act(run) {
      if (!(await disarmNow(run))) await outwait(run);
      return undefined;
    },
    async verify(run) {
      const { captureAfter } = run.facts;
      const { archive } = run.environment;
      const kept =
        captureAfter === undefined ? await wantedFiles(run) : (await archive.get(captureAfter)).files;
      if (configurationDigest(await run.capture('running')) === configurationDigest(kept)) return undefined;
      throw new TuckpointError(
        'runs/returned',
        `${run.device.name} no longer holds the new configuration: its time was up before the return was disarmed.`,
      );
    },
  };
}

/** The device holds the configuration from before: an armed return would bring back the very same. */
export function disarmBack(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'back-disarm',
    title: 'disarm the automatic return',
    applies,
    async act(run) {
      await disarmNow(run);
      return undefined;
    },
  };
}

/** Gives whether the device took the order; a device with nothing armed may refuse it. Throws all other link errors. */
export async function disarmNow(run: RunContext): Promise<boolean> {
  if (!(await run.deviceFacts()).canArmReturn) return true;
  try {
    await (await run.link()).disarmReturn();
    return true;
  } catch (error) {
    if (codeOf(error) === 'links/refused') return false;
    throw error;
  }
}

/** Waits until an armed return must have happened. */
async function outwait(run: RunContext): Promise<void> {
  const { environment, facts } = run;
  const { limits } = await run.deviceFacts();
  const until = Date.parse(facts.armedUntil ?? environment.now()) + limits.commandSeconds * 1000;
  await run.dropLink();
  await environment.sleep(Math.max(0, until - Date.parse(environment.now())));
}
