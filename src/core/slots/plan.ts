import { after, booted, checkState } from './effect.ts';
import { boots, type Operation } from './operation.ts';
import { type Refusal, refusalOf, type Standing } from './refusal.ts';
import { reserveIntact } from './reserve.ts';
import { type DeviceKind, type Pair, runningSlot, type SlotState, samePair } from './state.ts';

/** Where a sequence shall end: always with the device running from a pair that booted well. */
export type Goal =
  | { readonly reach: 'release'; readonly release: string }
  | { readonly reach: 'pair'; readonly pair: Pair }
  | { readonly reach: 'spare' };

export interface PlannedStep {
  readonly operation: Operation;
  /** The slots once it took effect; after a boot, on the assumption that it went well. */
  readonly leaves: SlotState;
}

export type Plan =
  | { readonly possible: true; readonly steps: readonly PlannedStep[] }
  | { readonly possible: false; readonly refusal: Refusal };

/**
 * The shortest sequence of operations that reaches the goal without ever being refused, found breadth first; of two
 * equally long ones the one that copies before it writes and restarts before it changes slots. `release` keeps the
 * present configuration and, with a reserve in `standing`, leaves the reserve intact at the end too.
 * @throws TuckpointError `slots/state` for a state that fits no device of this kind.
 */
export function planFor(state: SlotState, goal: Goal, kind: DeviceKind, standing: Standing = {}): Plan {
  checkState(state, kind);
  const reached = goalTest(state, goal, standing);
  const seen = new Set([keyOf(state)]);
  let edge: { readonly at: SlotState; readonly steps: readonly PlannedStep[] }[] = [{ at: state, steps: [] }];
  while (edge.length > 0) {
    const next: typeof edge = [];
    for (const { at, steps } of edge) {
      if (reached(at)) return { possible: true, steps };
      for (const operation of choices(goal, kind)) {
        if (refusalOf(at, operation, kind, standing) !== null) continue;
        const done = after(at, operation, kind);
        const leaves = boots(operation) ? booted(done, true) : done;
        if (seen.has(keyOf(leaves))) continue;
        seen.add(keyOf(leaves));
        next.push({ at: leaves, steps: [...steps, { operation, leaves }] });
      }
    }
    edge = next;
  }
  return { possible: false, refusal: whyNot(state, goal, kind, standing) };
}

function choices(goal: Goal, kind: DeviceKind): readonly Operation[] {
  const release = goal.reach === 'release' ? goal.release : goal.reach === 'pair' ? goal.pair.release : null;
  const install: readonly Operation[] =
    goal.reach === 'release' && release !== null ? [{ name: 'install', release }] : [];
  if (kind.slots === 1) return [...install, { name: 'restart' }];
  return [
    { name: 'keep' },
    ...install,
    { name: 'restart' },
    { name: 'boot', slot: 'spare' },
    { name: 'recover' },
  ];
}

function goalTest(start: SlotState, goal: Goal, standing: Standing): (state: SlotState) => boolean {
  const configuration = runningSlot(start).configuration;
  const settled = (state: SlotState) =>
    runningSlot(state).bootedWell && state.restartDue !== true && state.next === state.running;
  switch (goal.reach) {
    case 'release':
      return (state) =>
        settled(state) &&
        runningSlot(state).release === goal.release &&
        runningSlot(state).configuration === configuration &&
        (!standing.reserve || state.slots.length === 1 || reserveIntact(state, standing.reserve));
    case 'pair':
      return (state) => settled(state) && samePair(runningSlot(state), goal.pair);
    case 'spare':
      return (state) => settled(state) && state.running !== start.running;
  }
}

/** The refusal a person meets first on the way to the goal. */
function whyNot(state: SlotState, goal: Goal, kind: DeviceKind, standing: Standing): Refusal {
  const wanted: Operation =
    goal.reach === 'release' ? { name: 'install', release: goal.release } : { name: 'boot', slot: 'spare' };
  return (
    refusalOf(state, wanted, kind, standing) ?? {
      reason: 'none-well',
      sentence:
        goal.reach === 'pair'
          ? `No slot holds ${goal.pair.release ?? 'the pair'} with that configuration as booted well.`
          : 'No sequence of operations reaches this from what the slots hold now without losing the way back.',
      advice: 'Look at what each slot holds, and restore from a capture and a firmware file if need be.',
    }
  );
}

function keyOf(state: SlotState): string {
  return JSON.stringify([
    state.slots.map((s) => [s.release, s.configuration, s.bootedWell]),
    state.running,
    state.next,
    state.restartDue === true,
  ]);
}
