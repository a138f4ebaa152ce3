import { checkState } from './effect.ts';
import type { Operation } from './operation.ts';
import { holdsWell, holdsWellPair } from './reserve.ts';
import { type DeviceKind, type Pair, runningSlot, type SlotState, spareIndex, spareSlot } from './state.ts';

/** What stands behind an operation, besides the slots themselves. Everything missing counts as absent. */
export interface Standing {
  /** The reserve of the run that is under way and has not decided; null or missing: no such run. */
  readonly reserve?: Pair | null;
  /** A capture of the running configuration lies in the archive and was verified. */
  readonly captureVerified?: boolean;
  /** The firmware file of the release that runs now is at hand. */
  readonly oldFirmware?: boolean;
  /** The user said in so many words to go on without a reserve on the device. */
  readonly word?: boolean;
}

export type RefusalReason =
  | 'one-slot'
  | 'no-way-back'
  | 'spare-not-well'
  | 'running-not-well'
  | 'reserve-lost'
  | 'nothing-to-boot'
  | 'none-well';

/** Why an operation must not be carried out now, as one sentence, and what to do instead. */
export interface Refusal {
  readonly reason: RefusalReason;
  readonly sentence: string;
  readonly advice: string;
}

/**
 * May this operation be carried out on these slots? Null when it may.
 *
 * On a two-slot device an operation that writes a slot is refused unless the other slot holds a pair that has booted
 * well here (the reserve, while a run has not decided), since a slot being written holds nothing. On a one-slot device
 * it is refused unless what is needed to rebuild the device is at hand and the user said so.
 * @throws TuckpointError `slots/state` for a state that fits no device of this kind.
 */
export function refusalOf(
  state: SlotState,
  operation: Operation,
  kind: DeviceKind,
  standing: Standing = {},
): Refusal | null {
  checkState(state, kind);
  switch (operation.name) {
    case 'install':
      if (kind.slots === 1) return refusedWithoutWayBack(operation, standing);
      return refusedWrite(state, operation, kind.installWrites, standing);
    case 'apply':
      if (kind.slots === 1) return refusedWithoutWayBack(operation, standing);
      return refusedWrite(state, operation, 'running', standing);
    case 'keep':
      return kind.slots === 1 ? oneSlot(operation) : refusedWrite(state, operation, 'spare', standing);
    case 'recover':
      return kind.slots === 1 ? oneSlot(operation) : refusedWrite(state, operation, 'running', standing);
    case 'boot':
      if (operation.slot === 'running') return refusedBoot(state, state.running, standing);
      return kind.slots === 1 ? oneSlot(operation) : refusedBoot(state, spareIndex(state)!, standing);
    case 'restart':
    case 'shutdown':
      return refusedBoot(state, state.next, standing);
  }
}

/** An operation that writes one of two slots: the other one must hold what the device can live from. */
function refusedWrite(
  state: SlotState,
  operation: Operation,
  writes: 'running' | 'spare',
  standing: Standing,
): Refusal | null {
  const other = writes === 'running' ? spareIndex(state)! : state.running;
  const written = writes === 'running' ? state.running : spareIndex(state)!;
  const { reserve } = standing;
  if (!state.slots[other]!.bootedWell) {
    return writes === 'running' ? spareNotWell(state, operation) : runningNotWell(state, operation);
  }
  if (!reserve || holdsWell(state, other, reserve)) return null;
  return {
    reason: 'reserve-lost',
    sentence: `${label(operation)} writes slot ${idOf(state, written)}, and the other slot ${idOf(state, other)} does not hold the reserve of the run under way (${reserve.release} with its configuration).`,
    advice:
      operation.name === 'install' || operation.name === 'apply'
        ? keepFirst(state)
        : 'Decide the run first: keep the update, or go back.',
  };
}

function spareNotWell(state: SlotState, operation: Operation): Refusal {
  const spare = spareSlot(state)!;
  const holds = spare.release === null ? 'nothing known' : `${spare.release}, which has not booted well here`;
  return {
    reason: 'spare-not-well',
    sentence: `${label(operation)} writes the running slot, and the spare (slot ${spare.id}) holds ${holds}.`,
    advice:
      operation.name === 'recover'
        ? 'Keep working from the running slot, or install again.'
        : keepFirst(state),
  };
}

function runningNotWell(state: SlotState, operation: Operation): Refusal {
  return {
    reason: 'running-not-well',
    sentence: `${label(operation)} writes the spare (slot ${spareSlot(state)!.id}), and the pair in the running slot ${runningSlot(state).id} has not booted well here.`,
    advice: 'Restart the device and see that it is well first, or boot the spare.',
  };
}

/** Booting changes no content, so all it takes is something to boot and something to go back to. */
function refusedBoot(state: SlotState, index: number, standing: Standing): Refusal | null {
  const slot = state.slots[index]!;
  if (slot.release === null) {
    return {
      reason: 'nothing-to-boot',
      sentence: `Slot ${slot.id} holds no release that is known, so the device might not come back from it.`,
      advice:
        state.slots.length === 1
          ? 'Install a release first.'
          : 'Boot the other slot, or fill this one first.',
    };
  }
  if (index === state.running || holdsWellPair(state) || standing.word === true) return null;
  return {
    reason: 'none-well',
    sentence: `Neither slot holds a pair that has booted well here, so nothing is known to go back to if slot ${slot.id} does not boot.`,
    advice: 'Restart from the running slot and see that it is well first, or say that you accept this.',
  };
}

function refusedWithoutWayBack(operation: Operation, standing: Standing): Refusal | null {
  const missing = [
    standing.captureVerified === true ? null : 'a verified capture in the archive',
    operation.name === 'apply' || standing.oldFirmware === true
      ? null
      : 'the firmware file of the present release at hand',
    standing.word === true ? null : 'your explicit word',
  ].filter((part) => part !== null);
  if (missing.length === 0) return null;
  return {
    reason: 'no-way-back',
    sentence: `${label(operation)} writes the only slot, so there is no reserve on the device; still missing: ${missing.join(', ')}.`,
    advice: 'Provide what is missing, then try again.',
  };
}

function oneSlot(operation: Operation): Refusal {
  return {
    reason: 'one-slot',
    sentence: `${label(operation)} needs a spare slot, and this device has one slot.`,
    advice: 'Capture the configuration and have the firmware file at hand instead.',
  };
}

function keepFirst(state: SlotState): string {
  return runningSlot(state).bootedWell
    ? 'Keep a copy in the spare first.'
    : 'Restart the device and see that it is well, keep a copy in the spare, then try again.';
}

function label(operation: Operation): string {
  const word = operation.name;
  return `${word[0]!.toUpperCase()}${word.slice(1)}`;
}

function idOf(state: SlotState, index: number): string {
  return state.slots[index]!.id;
}
