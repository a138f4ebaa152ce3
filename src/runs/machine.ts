import { codeOf, TuckpointError } from '#core/errors';
import { mayPass } from '#links';
import type { JournalEntry, Lease } from '#store';
import type { Listener } from './events.ts';
import type { Facts } from './facts.ts';
import type { RunContext } from './run-context.ts';
import type { Ending, Procedure, Step } from './step.ts';

/** How often a step is tried when the link breaks under it. */
const TRIES = 3;

/**
 * Carries out a procedure under a lease, journaling before and after each step. A step journaled as done is never
 * repeated; one journaled as started is observed first. Throws only what makes it impossible to go on at all
 * (a lost lease, a store that cannot be written).
 */
export async function carryOut(
  run: RunContext,
  procedure: Procedure,
  lease: Lease,
  tell: Listener,
): Promise<Carried> {
  const machine = new Machine(run, lease, tell, await run.environment.store.journal.entries(run.id));
  let rescued = false;
  for (const step of procedure.steps) {
    if (machine.isThrough(step) || (step.applies?.(run) ?? true) === false) continue;
    try {
      await machine.take(step);
    } catch (error) {
      if (isStoreFailure(error)) throw error;
      await machine.writeFailure(step, error);
      const verdict = rescued
        ? stoppedAt(step, error)
        : await procedure.failed(run, step, error, machine.began(step));
      if (!('goOnWith' in verdict)) return { ending: verdict, failure: codeOf(error) ?? null };
      rescued = true;
      await machine.learn(step, verdict.goOnWith);
    }
  }
  return { ending: procedure.ending(run), failure: null };
}

/** How a run ended; `failure` is the code of the error that ended it, where a failed step did. */
export interface Carried {
  readonly ending: Ending;
  readonly failure: string | null;
}

/** A failure with no way on: what failed and why, in one sentence. */
export function stoppedAt(step: Step, error: unknown): Ending {
  return { decision: 'stopped', reason: `Could not ${step.title}: ${sentenceOf(error)}` };
}

export function sentenceOf(error: unknown): string {
  if (error instanceof TuckpointError) return error.text;
  return error instanceof Error ? error.message : String(error);
}

function isStoreFailure(error: unknown): boolean {
  return error instanceof TuckpointError && error.code.startsWith('store/');
}

class Machine {
  readonly #run: RunContext;
  readonly #lease: Lease;
  readonly #tell: Listener;
  readonly #through = new Set<string>();
  readonly #started = new Set<string>();

  constructor(run: RunContext, lease: Lease, tell: Listener, journal: readonly JournalEntry[]) {
    this.#run = run;
    this.#lease = lease;
    this.#tell = tell;
    for (const entry of journal) {
      if (entry.state === 'started') this.#started.add(entry.step);
      if (entry.state === 'done') this.#through.add(entry.step);
    }
  }

  isThrough(step: Step): boolean {
    return this.#through.has(step.name);
  }

  /** Did it come to acting, in this process or an earlier one? A step that may not be taken does not. */
  began(step: Step): boolean {
    return this.#started.has(step.name);
  }

  async take(step: Step): Promise<void> {
    const run = this.#run;
    const began = run.environment.nowMs();
    run.progress = (done, total) => this.#tell({ kind: 'progress', step: step.name, done, total });
    this.#say(step, 'started', null, null);
    await this.#withPatience(async () => {
      if (this.#started.has(step.name)) return;
      await step.check?.(run);
      await this.#write(step, 'started', (await step.prepare?.(run)) ?? {});
      this.#started.add(step.name);
    });
    const { already, facts } = await this.#withPatience(() => this.#observeOrAct(step));
    await this.#write(step, 'done', facts, { already });
    this.#say(step, already ? 'already' : 'done', (run.environment.nowMs() - began) / 1000, null);
  }

  async #observeOrAct(step: Step): Promise<{ already: boolean; facts: Facts }> {
    const run = this.#run;
    if (await step.observe?.(run)) return { already: true, facts: (await step.verify?.(run)) ?? {} };
    const learned = (await step.act(run)) ?? {};
    this.#say(step, 'acted', null, null);
    run.facts = { ...run.facts, ...learned };
    return { already: false, facts: { ...learned, ...((await step.verify?.(run)) ?? {}) } };
  }

  async writeFailure(step: Step, error: unknown): Promise<void> {
    await this.#write(step, 'failed', {}, { why: sentenceOf(error) });
    this.#say(step, 'failed', null, sentenceOf(error));
  }

  async learn(step: Step, facts: Facts): Promise<void> {
    await this.#write(step, 'note', facts);
  }

  /** Repeats when the link broke: every part observes before it acts, so nothing that took effect is done twice. */
  async #withPatience<T>(part: () => Promise<T>): Promise<T> {
    for (let tries = 1; ; tries++) {
      try {
        return await part();
      } catch (error) {
        await this.#run.dropLink();
        if (!mayPass(error) || tries === TRIES) throw error;
        await this.#run.environment.sleep(1000 * tries);
      }
    }
  }

  async #write(step: Step, state: JournalEntry['state'], facts: Facts, detail: Record<string, unknown> = {}) {
    const { environment } = this.#run;
    const line = { step: step.name, state, at: environment.now(), detail };
    await environment.store.journal.write(this.#lease, line, { ...facts });
    this.#run.facts = { ...this.#run.facts, ...facts };
  }

  #say(
    step: Step,
    state: 'started' | 'acted' | 'done' | 'already' | 'failed',
    seconds: number | null,
    note: string | null,
  ) {
    const at = this.#run.environment.now();
    this.#tell({ kind: 'step', step: step.name, title: step.title, state, at, seconds, note });
  }
}
