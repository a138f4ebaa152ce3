import { refusalOf, samePair } from '#core/slots';
import { look } from '../look.ts';
import { refused, verifySlots } from '../refused.ts';
import type { Step } from '../step.ts';

/** Copies the running slot to the spare, so that the spare holds the reserve. */
export const keep: Step = {
  name: 'keep',
  title: 'copy the running slot to the spare, release and configuration both',
  operation: () => ({ name: 'keep' }),
  applies: (run) => run.facts.before?.slots.slots.length === 2,
  async check(run) {
    const { before } = run.facts;
    if (before === undefined) return;
    const refusal = refusalOf(before.slots, { name: 'keep' }, (await run.deviceFacts()).kind);
    if (refusal !== null) throw refused(refusal);
  },
  async observe(run) {
    const { slots } = await look(run);
    const [a, b] = slots.slots;
    return a !== undefined && b !== undefined && samePair(a, b);
  },
  async act(run) {
    await (await run.link()).keep();
    return undefined;
  },
  async verify(run) {
    const seen = await look(run);
    const [a, b] = seen.slots.slots;
    verifySlots(
      a !== undefined && b !== undefined && samePair(a, b),
      seen.slots,
      'the copy in the spare slot',
    );
    return { kept: seen };
  },
};

/** Copies the spare slot over the running one. */
export const recover: Step = {
  name: 'recover',
  title: 'copy the spare slot over the running one, release and configuration both',
  operation: () => ({ name: 'recover' }),
  pointOfNoReturn: true,
  async check(run) {
    const { before } = run.facts;
    if (before === undefined) return;
    const refusal = refusalOf(before.slots, { name: 'recover' }, (await run.deviceFacts()).kind);
    if (refusal !== null) throw refused(refusal);
  },
  async observe(run) {
    const { slots } = await look(run);
    const [a, b] = slots.slots;
    return a !== undefined && b !== undefined && samePair(a, b);
  },
  async act(run) {
    await (await run.link()).recover();
    return undefined;
  },
  async verify(run) {
    const seen = await look(run);
    const [a, b] = seen.slots.slots;
    verifySlots(
      a !== undefined && b !== undefined && samePair(a, b),
      seen.slots,
      'the copy in the running slot',
    );
    return { after: seen };
  },
};
