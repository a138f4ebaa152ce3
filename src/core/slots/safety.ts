import { after, booted, instants } from './effect.ts';
import { boots, type Operation } from './operation.ts';
import { holdsWellPair, reserveIntact } from './reserve.ts';
import type { DeviceKind, Pair, SlotState } from './state.ts';

/** The first instant of a sequence at which a kill or a power loss would leave no way back. */
export interface UnsafeInstant {
  /** Counts from 0. */
  readonly step: number;
  readonly operation: Operation;
  readonly left: SlotState;
  readonly lost: 'every pair that booted well' | 'the reserve';
}

/**
 * Looks at every instant of a sequence on a two-slot device, power loss inside each operation included, whatever made
 * the sequence. Null when at each of them one slot holds a pair that has booted well and the reserve is intact.
 * Boots are taken as gone well, which is the case in which the sequence goes on. Says nothing of one-slot devices,
 * which have no reserve.
 */
export function firstUnsafeInstant(
  state: SlotState,
  operations: readonly Operation[],
  kind: DeviceKind,
  reserve: Pair | null,
): UnsafeInstant | null {
  let at = state;
  for (const [step, operation] of operations.entries()) {
    for (const left of instants(at, operation, kind)) {
      if (!holdsWellPair(left)) return { step, operation, left, lost: 'every pair that booted well' };
      if (reserve && !reserveIntact(left, reserve)) return { step, operation, left, lost: 'the reserve' };
    }
    const done = after(at, operation, kind);
    at = boots(operation) ? booted(done, true) : done;
  }
  return null;
}
