import { type Pair, runningSlot, type SlotState, samePair, spareIndex } from './state.ts';

/**
 * The reserve of a run that begins now: the pair in the running slot, which the run must be able to go back to until
 * it decides. Null while its release or configuration is unknown.
 */
export function reserveOf(state: SlotState): Pair | null {
  const { release, configuration } = runningSlot(state);
  return release === null || configuration === null ? null : { release, configuration };
}

/** Index of a slot that holds the reserve as booted well, the spare before the running one; null when none does. */
export function reserveHeldBy(state: SlotState, reserve: Pair): number | null {
  const spare = spareIndex(state);
  const order = spare === null ? [state.running] : [spare, state.running];
  return order.find((index) => holdsWell(state, index, reserve)) ?? null;
}

/** Is the reserve intact: does some slot hold exactly this pair, booted well here? */
export function reserveIntact(state: SlotState, reserve: Pair): boolean {
  return reserveHeldBy(state, reserve) !== null;
}

/** Does some slot hold a pair that has booted well on this device? */
export function holdsWellPair(state: SlotState): boolean {
  return state.slots.some((slot) => slot.bootedWell);
}

/** Does this slot hold exactly this pair, booted well here? */
export function holdsWell(state: SlotState, index: number, pair: Pair): boolean {
  const slot = state.slots[index];
  return slot?.bootedWell === true && samePair(slot, pair);
}
