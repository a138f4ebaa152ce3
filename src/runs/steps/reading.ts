import { compareReadings } from '#core/reading';
import type { Facts } from '../facts.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Takes a reading and remembers it. */
export function reading(
  name: string,
  key: 'readingBefore' | 'readingAfter' | 'readingBack',
  applies?: (run: RunContext) => boolean,
): Step {
  return {
    name,
    title: 'take a reading: interfaces, counters, loss, memory, alarms',
    ...(applies === undefined ? {} : { applies }),
    async act(run): Promise<Facts> {
      const taken = await (await run.link()).reading();
      await run.environment.store.observations.addReading(run.device.name, run.id, taken);
      return { [key]: taken };
    },
  };
}

/** How often a reading after a boot is taken at most, and how long to wait between two, in milliseconds. */
const LOOKS = 4;
const SETTLE_MS = 3000;

/**
 * A reading after a boot. A device answers before it has settled: interfaces and neighbours may not be up yet, and a
 * process that will take all memory may not have done so. So one reading never counts: one that is worse than before
 * the run is taken again a few times, and one that is not must be so again after a while. The last one counts.
 */
export function settledReading(
  name: string,
  key: 'readingAfter' | 'readingBack',
  applies: (run: RunContext) => boolean,
): Step {
  return {
    ...reading(name, key, applies),
    async act(run): Promise<Facts> {
      const { readingBefore } = run.facts;
      for (let looks = 1; ; looks++) {
        const taken = await (await run.link()).reading();
        await run.environment.store.observations.addReading(run.device.name, run.id, taken);
        const worse =
          readingBefore !== undefined && compareReadings(readingBefore, taken).verdict === 'worse';
        if (looks === LOOKS || (looks > 1 && !worse)) return { [key]: taken };
        await run.environment.sleep(SETTLE_MS);
      }
    },
  };
}
