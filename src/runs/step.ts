import type { Operation } from '#core/slots';
import type { Decision } from './events.ts';
import type { Facts, Goal } from './facts.ts';
import type { RunContext } from './run-context.ts';

/**
 * One step of a procedure. `prepare` learns what must be known before the act (journaled with `started`, so that a
 * resumed run still has it); `observe` looks whether the act took effect already; `act` is never called when it did.
 */
export interface Step {
  readonly name: string;
  /** What it does, as a sentence without a full stop: "copy the running slot to the spare". */
  readonly title: string;
  /** From this step on, a failure leaves something on the device that a person or a way back must deal with. */
  readonly pointOfNoReturn?: boolean;
  /** What it does to the slots, for a prediction; null: nothing. */
  operation?(goal: Goal): Operation | null;
  /** Is it part of this run, by what is known when its turn comes? Default: yes. */
  applies?(run: RunContext): boolean;
  /** May I? Throws `runs/refused`. */
  check?(run: RunContext): Promise<void>;
  prepare?(run: RunContext): Promise<Facts>;
  observe?(run: RunContext): Promise<boolean>;
  act(run: RunContext): Promise<Facts | undefined>;
  verify?(run: RunContext): Promise<Facts | undefined>;
}

export interface Procedure {
  readonly name: string;
  /** What it is for, as a sentence without a full stop. */
  readonly title: string;
  readonly steps: readonly Step[];
  /**
   * What to do when a step failed for good: facts to go on with (the way back), or the ending.
   * Called once per failed step; a failure of the way back itself ends the run as stopped. `began`: the step had
   * been let and may have acted.
   */
  failed(run: RunContext, step: Step, error: unknown, began: boolean): Promise<{ goOnWith: Facts } | Ending>;
  /** The ending when all steps are through. */
  ending(run: RunContext): Ending;
}

export interface Ending {
  readonly decision: Decision;
  readonly reason: string;
}
