import { configurationDigest } from '#archive';
import { TuckpointError } from '#core/errors';
import type { Facts } from '../facts.ts';
import { wantedFiles } from '../graft/wanted-files.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';
import { armedStill } from './arm.ts';

/**
 * Replaces the running configuration as a whole. An order whose answer was lost may have taken effect by half, so it
 * is given again (it is safe to repeat) unless the device holds something that is neither the old nor the new.
 */
export function apply(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'apply',
    title: 'apply the new configuration as a whole',
    operation: (goal) => ({ name: 'apply', configuration: goal.captureDigest ?? 'as planned' }),
    pointOfNoReturn: true,
    applies,
    async act(run): Promise<Facts> {
      const wanted = await wantedFiles(run);
      const holds = configurationDigest(await run.capture('running'));
      const before = holds === run.facts.digestBefore;
      if (!before && holds !== configurationDigest(wanted)) {
        throw new TuckpointError(
          'runs/not-as-expected',
          `${run.device.name} holds neither the configuration from before nor the new one: it was applied by half, or somebody else is at work on it.`,
        );
      }
      // What a return saves is what the device holds: only ever the configuration from before.
      const armed = before ? await armedStill(run) : {};
      await (await run.link()).apply(wanted);
      return armed;
    },
  };
}
