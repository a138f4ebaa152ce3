import { configurationDigest } from '#archive';
import { TuckpointError } from '#core/errors';
import type { NamedFile } from '#links/port';
import type { Facts } from '../facts.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Takes the running configuration into the archive, which verifies it before it acknowledges. */
export function capture(
  name: string,
  key: 'captureBefore' | 'captureAfter' | 'captureBack',
  applies?: (run: RunContext) => boolean,
): Step {
  return {
    name,
    title: 'capture the running configuration into the archive and verify it',
    ...(applies === undefined ? {} : { applies }),
    async act(run): Promise<Facts> {
      const { archive, now } = run.environment;
      const seen = run.facts.back ?? run.facts.after ?? run.facts.before;
      const files = await run.capture('running');
      if (files.length === 0) {
        throw new TuckpointError('runs/empty-capture', 'The capture held no file.', {
          advice: 'Check the capture action of the handbook with "tuckpoint handbook try".',
        });
      }
      const record = await archive.put({
        device: run.device.name,
        at: now(),
        source: key === 'captureBefore' && (await changedOutside(run, files)) ? 'unplanned' : sourceOf(run),
        release: seen?.identity.release ?? null,
        slot: seen?.slots.slots[seen.slots.running]?.id ?? null,
        run: run.id,
        files,
      });
      return key === 'captureBefore'
        ? { captureBefore: record.id, digestBefore: record.digest }
        : { [key]: record.id };
    },
  };
}

function sourceOf({ goal }: RunContext): 'round' | 'run' {
  return goal.round === true ? 'round' : 'run';
}

/**
 * Every run that changes a configuration captures it afterwards. So one that differs from the last capture we took was
 * changed by somebody else. Deliveries and imports may hold other files, and say nothing here.
 */
async function changedOutside(run: RunContext, files: readonly NamedFile[]): Promise<boolean> {
  const ours = (await run.environment.archive.list(run.device.name)).filter(
    ({ source }) => source !== 'delivery' && source !== 'import',
  );
  const last = ours.at(-1);
  return last !== undefined && last.digest !== configurationDigest(files);
}
