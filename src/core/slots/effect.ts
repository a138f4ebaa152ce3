import { TuckpointError } from '#core/errors';
import type { Operation } from './operation.ts';
import { type DeviceKind, runningSlot, type SlotState, samePair, spareIndex, withSlot } from './state.ts';

/**
 * The slots after an operation that took effect. Whether a boot went well is not known from here: see `booted`.
 *
 * Common practice, no source: an install changes the release and leaves the configuration; a copy takes both.
 * @throws TuckpointError `slots/state` for a state that fits no device of this kind, `slots/no-spare` where the
 *   operation needs a spare slot and the device has one slot.
 */
export function after(state: SlotState, operation: Operation, kind: DeviceKind): SlotState {
  checkState(state, kind);
  switch (operation.name) {
    case 'install':
      return kind.installWrites === 'running' || kind.slots === 1
        ? withRestartDue(withSlot(state, state.running, { release: operation.release, bootedWell: false }))
        : installedIntoSpare(state, operation.release, kind);
    case 'keep': {
      const { release, configuration, bootedWell } = runningSlot(state);
      return withSlot(state, spareOrThrow(state, operation), { release, configuration, bootedWell });
    }
    case 'recover': {
      const spare = state.slots[spareOrThrow(state, operation)]!;
      if (samePair(spare, runningSlot(state)) && spare.bootedWell === runningSlot(state).bootedWell)
        return state;
      const { release, configuration, bootedWell } = spare;
      return withRestartDue(withSlot(state, state.running, { release, configuration, bootedWell }));
    }
    case 'boot':
      return runningFrom(
        state,
        operation.slot === 'running' ? state.running : spareOrThrow(state, operation),
      );
    case 'restart':
    case 'shutdown':
      return runningFrom(state, state.next);
    case 'apply': {
      if (operation.configuration === runningSlot(state).configuration) return state;
      const applied = withSlot(state, state.running, {
        configuration: operation.configuration,
        bootedWell: false,
      });
      return operation.needsRestart === true ? withRestartDue(applied) : applied;
    }
  }
}

/**
 * Every state a power loss can leave the slots in while the operation is carried out, untouched and completed
 * included. Where the device does not write whole, the slot being written holds nothing known, and a switch of the
 * slot to boot next may have happened or not.
 */
export function instants(state: SlotState, operation: Operation, kind: DeviceKind): readonly SlotState[] {
  const done = after(state, operation, kind);
  const written = writtenSlot(state, operation, kind);
  if (written === null || kind.writesWhole === true) return [state, done];
  const torn = withSlot(state, written, { release: null, configuration: null, bootedWell: false });
  const due = written === state.running ? withRestartDue(torn) : torn;
  return done.next === state.next ? [state, due, done] : [state, due, { ...due, next: done.next }, done];
}

/** Index of the slot an operation writes, or null when it writes none. */
function writtenSlot(state: SlotState, operation: Operation, kind: DeviceKind): number | null {
  switch (operation.name) {
    case 'install':
      return kind.installWrites === 'running' ? state.running : (spareIndex(state) ?? state.running);
    case 'keep':
      return spareOrThrow(state, operation);
    case 'recover':
      spareOrThrow(state, operation);
      return state.running;
    case 'apply':
      return state.running;
    default:
      return null;
  }
}

/**
 * Marks the pair the device runs from as booted well, or not. A pair of which the release or the configuration is
 * unknown cannot be marked as well: nothing could be recognised by it later.
 */
export function booted(state: SlotState, well: boolean): SlotState {
  const { release, configuration } = runningSlot(state);
  return withSlot(state, state.running, {
    bootedWell: well && release !== null && configuration !== null,
  });
}

/** @throws TuckpointError `slots/state` when the slots, or which runs and boots next, fit no device of this kind. */
export function checkState(state: SlotState, kind: DeviceKind): void {
  const fits = (index: number) => Number.isInteger(index) && index >= 0 && index < kind.slots;
  if (state.slots.length === kind.slots && fits(state.running) && fits(state.next)) return;
  throw new TuckpointError(
    'slots/state',
    `A device with ${kind.slots === 1 ? 'one slot' : 'two slots'} cannot show ${state.slots.length} slots, running ${state.running}, next ${state.next}.`,
    { advice: 'Check how the handbook reads the slots and how many it says the device has.' },
  );
}

function installedIntoSpare(state: SlotState, release: string, kind: DeviceKind): SlotState {
  const spare = spareOrThrow(state, { name: 'install', release });
  const carried = kind.spareConfiguration === 'carried';
  const configuration = carried ? runningSlot(state).configuration : state.slots[spare]!.configuration;
  return { ...withSlot(state, spare, { release, configuration, bootedWell: false }), next: spare };
}

function runningFrom(state: SlotState, index: number): SlotState {
  return { slots: state.slots, running: index, next: index };
}

function withRestartDue(state: SlotState): SlotState {
  return { ...state, restartDue: true };
}

function spareOrThrow(state: SlotState, operation: Operation): number {
  const index = spareIndex(state);
  if (index !== null) return index;
  throw new TuckpointError('slots/no-spare', `This device has one slot, so it cannot ${operation.name}.`, {
    advice: 'Work from a verified capture and the firmware file instead.',
  });
}
