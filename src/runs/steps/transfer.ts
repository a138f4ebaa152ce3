import { TuckpointError } from '#core/errors';
import type { ChosenRelease } from '../facts.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Brings a firmware file onto the device; its digest is computed there and compared. */
export function transfer(
  name: string,
  key: 'remote' | 'oldRemote',
  choose: (run: RunContext) => ChosenRelease | undefined,
  applies?: (run: RunContext) => boolean,
): Step {
  return {
    name,
    title: 'bring the firmware file onto the device and check its digest there',
    ...(applies === undefined ? {} : { applies }),
    async act(run) {
      const chosen = choose(run);
      if (chosen === undefined) throw missing(key);
      const link = await run.link();
      const there = await link.remoteFile(chosen.file);
      return { [key]: there ?? (await link.transfer(chosen.file, run.progress)) };
    },
  };
}

export function missing(what: string): TuckpointError {
  return new TuckpointError(
    'runs/missing-fact',
    `The run does not know "${what}", which an earlier step should have left.`,
  );
}
