import { refusalOf, samePair } from '#core/slots';
import type { Facts, Look } from '../facts.ts';
import { look } from '../look.ts';
import { refused, verifySlots } from '../refused.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Copies the running slot to the spare, so that the spare holds the reserve. */
export const keep: Step = {
  ...copying('keep', 'the copy in the spare slot', (seen) => ({ kept: seen })),
  title: 'copy the running slot to the spare, release and configuration both',
  applies: (run) => run.facts.before?.slots.slots.length === 2,
};

/** Copies the spare slot over the running one. */
export const recover: Step = {
  ...copying('recover', 'the copy in the running slot', (seen) => ({ after: seen })),
  title: 'copy the spare slot over the running one, release and configuration both',
  pointOfNoReturn: true,
};

/** Both copies are done when both slots hold the same pair. */
function copying(name: 'keep' | 'recover', what: string, learn: (seen: Look) => Facts) {
  return {
    name,
    operation: () => ({ name }),
    async check(run) {
      const { before } = run.facts;
      if (before === undefined) return;
      const refusal = refusalOf(before.slots, { name }, (await run.deviceFacts()).kind);
      if (refusal !== null) throw refused(refusal);
    },
    observe: async (run) => slotsAreAlike(await look(run)),
    async act(run: RunContext) {
      await (await run.link())[name]();
      return undefined;
    },
    async verify(run) {
      const seen = await look(run);
      verifySlots(slotsAreAlike(seen), seen.slots, what);
      return learn(seen);
    },
  } satisfies Omit<Step, 'title'>;
}

function slotsAreAlike({ slots }: Look): boolean {
  const [a, b] = slots.slots;
  return a !== undefined && b !== undefined && samePair(a, b);
}
