import { codeOf, TuckpointError } from '#core/errors';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** A connection in use may outlive rules that would let no further one in; so the link is opened anew. */
export function reach(applies: (run: RunContext) => boolean): Step {
  return {
    name: 'reach',
    title: 'see that the device lets a new connection in',
    applies,
    async act(run) {
      const { limits } = await run.deviceFacts();
      await run.dropLink();
      const within = limits.commandSeconds;
      try {
        await run.waitFor(
          within,
          'let no new connection in',
          async (link) => (await link.identify()) !== null,
        );
      } catch (cause) {
        if (codeOf(cause) !== 'runs/did-not-return') throw cause;
        const why = `${run.device.name} let no new connection in within ${within} seconds.`;
        throw new TuckpointError('runs/did-not-return', why, { cause });
      }
      return undefined;
    },
  };
}
