import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Removes the firmware files the run brought onto the device. */
export function clean(applies?: (run: RunContext) => boolean): Step {
  return {
    name: 'clean',
    title: 'remove the transferred firmware file from the device',
    ...(applies === undefined ? {} : { applies }),
    async act(run) {
      await (await run.link()).clean();
      return undefined;
    },
  };
}
