/** What a run says while it is at work; for a terminal, a log or a browser. */
export type RunEvent =
  | {
      readonly kind: 'begun';
      readonly run: string;
      readonly device: string;
      readonly procedure: string;
      readonly at: string;
      readonly resumed: boolean;
    }
  | {
      readonly kind: 'step';
      readonly step: string;
      readonly title: string;
      readonly state: StepEventState;
      readonly at: string;
      readonly seconds: number | null;
      readonly note: string | null;
    }
  | { readonly kind: 'progress'; readonly step: string; readonly done: number; readonly total: number }
  | { readonly kind: 'decided'; readonly decision: Decision; readonly reason: string; readonly at: string };

/**
 * `started`: about to act. `acted`: the device did it, not yet journaled. `done`: journaled. `already`: found done,
 * not repeated. `failed`: with the reason in `note`.
 */
export type StepEventState = 'started' | 'acted' | 'done' | 'already' | 'failed';

/**
 * How a run ended. `done`: a run that has nothing to decide did what was asked. `kept`: the new state stays.
 * `went back`: the reserve runs again. `not done`: nothing that matters was changed. `stopped`: a person must decide.
 */
export type Decision = 'done' | 'kept' | 'went back' | 'not done' | 'stopped';

export type Listener = (event: RunEvent) => void;
