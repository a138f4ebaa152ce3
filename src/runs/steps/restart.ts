import { TuckpointError } from '#core/errors';
import { mayPass } from '#links';
import type { Link } from '#links/port';
import { bootedSince } from '../booted-since.ts';
import type { Facts } from '../facts.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/**
 * A step that makes the device boot and waits until it answers again. The boot id journaled before the order tells
 * a device that has booted from one that has not yet gone down.
 */
export function booting(options: {
  name: string;
  title: string;
  order(link: Link, run: RunContext): Promise<void>;
  /**
   * What the boot is for, when a boot alone does not show it: a power loss boots the device too, from whichever slot
   * was due. `instead`: the boot counts only when this holds. `or`: this holding makes the boot needless.
   */
  reached?(run: RunContext): Promise<boolean>;
  reachedCounts?: 'instead' | 'or';
  applies?(run: RunContext): boolean;
  /** Default: restart. */
  operation?: NonNullable<Step['operation']>;
}): Step {
  const { name, title, order, reached, reachedCounts = 'instead', applies } = options;
  const { operation = () => ({ name: 'restart' }) } = options;
  const hasBooted = async (run: RunContext, link: Link) =>
    bootedSince(run.facts.bootAt?.[name], await link.identify());
  return {
    name,
    title,
    operation,
    pointOfNoReturn: true,
    ...(applies === undefined ? {} : { applies }),
    async prepare(run): Promise<Facts> {
      const { boot, uptimeSeconds } = await (await run.link()).identify();
      return { bootAt: { ...run.facts.bootAt, [name]: { boot, uptimeSeconds } } };
    },
    async observe(run) {
      const { limits } = await run.deviceFacts();
      // A resumed run may meet the device while it boots.
      await run.waitFor(
        limits.bootSeconds,
        'did not answer',
        async (link) => (await link.identify()) !== null,
      );
      const booted = await hasBooted(run, await run.link());
      if (reached === undefined) return booted;
      if (reachedCounts === 'or' && booted) return true;
      return await reached(run);
    },
    async act(run) {
      const link = await run.link();
      const { limits } = link.facts;
      await order(link, run);
      await run.dropLink();
      await run.waitFor(limits.bootSeconds, 'was told to boot and did not come back', (l) =>
        hasBooted(run, l),
      );
      return undefined;
    },
  };
}

export const restart = (name = 'restart', applies?: (run: RunContext) => boolean) =>
  booting({
    name,
    title: 'restart the device and wait until it answers',
    order: (link) => link.restart(),
    ...(applies === undefined ? {} : { applies }),
  });

/** Power off in order; done when the device no longer answers. */
export const shutdown: Step = {
  name: 'shutdown',
  title: 'shut the device down and wait until it no longer answers',
  operation: () => ({ name: 'shutdown' }),
  pointOfNoReturn: true,
  async act(run) {
    const { limits } = await run.deviceFacts();
    await (await run.link()).shutdown();
    await run.dropLink();
    const until = run.environment.nowMs() + limits.bootSeconds * 1000;
    while (await answers(run)) {
      if (run.environment.nowMs() >= until) {
        throw new TuckpointError(
          'runs/did-not-stop',
          `${run.device.name} took the order to shut down and still answers.`,
          {
            advice: 'Look at its console.',
          },
        );
      }
      await run.environment.sleep(500);
    }
    return undefined;
  },
};

async function answers(run: RunContext): Promise<boolean> {
  try {
    await (await run.link()).identify();
    return true;
  } catch (error) {
    if (!mayPass(error)) throw error;
    return false;
  } finally {
    await run.dropLink();
  }
}
