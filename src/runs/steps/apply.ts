import { configurationDigest } from '#archive';
import { refusalOf } from '#core/slots';
import { changedNames } from '../compare-traffic.ts';
import { refused } from '../refused.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { missing } from './transfer.ts';

/** How long the device waits for the workbench before it returns to the configuration it had, in seconds. */
const RETURN_SECONDS = 120;

/**
 * Replaces the running configuration by a capture. Where the kind allows it, the device is first told to return by
 * itself unless it is reached again in time (the idea of a confirmed commit, RFC 6241 section 8.4).
 */
export const apply: Step = {
  name: 'apply',
  title: 'apply the configuration of the capture',
  operation: (goal) => ({ name: 'apply', configuration: goal.captureDigest ?? 'of the capture' }),
  pointOfNoReturn: true,
  async check(run) {
    const { before } = run.facts;
    if (before === undefined) throw missing('before');
    const { record } = await run.environment.archive.get(captureOf(run));
    const refusal = refusalOf(
      before.slots,
      { name: 'apply', configuration: record.digest },
      (await run.deviceFacts()).kind,
      { captureVerified: run.facts.captureBefore !== undefined, word: run.goal.acceptNoReserve === true },
    );
    if (refusal !== null) throw refused({ ...refusal, advice: adviceFor(refusal.reason, refusal.advice) });
  },
  async prepare(run) {
    const { files } = await run.environment.archive.get(captureOf(run));
    const current = await run.capture('running');
    const changed = changedNames(current, files);
    return { restartNeeded: (await run.deviceFacts()).applyNeedsRestart(changed) };
  },
  async observe(run) {
    const { record } = await run.environment.archive.get(captureOf(run));
    return configurationDigest(await run.capture('running')) === record.digest;
  },
  async act(run) {
    const { files } = await run.environment.archive.get(captureOf(run));
    const link = await run.link();
    if (link.facts.canArmReturn) await link.armReturn(RETURN_SECONDS);
    await link.apply(files);
    return undefined;
  },
  async verify(run) {
    const { record } = await run.environment.archive.get(captureOf(run));
    // A new connection: the one in use may outlive rules that would let no further one in.
    await run.dropLink();
    const link = await run.link();
    if (configurationDigest(await link.capture('running')) !== record.digest) {
      throw refused({
        sentence:
          'The device took the configuration and does not show it: it holds other bytes than the capture.',
        advice: 'If the device was told to return, it goes back by itself; look at it before anything else.',
      });
    }
    if (link.facts.canArmReturn) await link.disarmReturn();
    return undefined;
  },
};

function captureOf(run: RunContext): string {
  const { capture } = run.goal;
  if (capture === undefined) throw missing('capture');
  return capture;
}

function adviceFor(reason: string, advice: string): string {
  return reason === 'no-way-back' ? `${advice} (--accept-no-reserve is your explicit word.)` : advice;
}
