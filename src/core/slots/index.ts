/**
 * Boot slots: what each holds, what each operation makes of them, and which sequence is safe.
 * Pure; it must never know how a device is reached.
 */
export { drawSlots, slotLines } from './draw.ts';
export { after, booted, instants } from './effect.ts';
export { type ExplainOptions, type Explanation, explain } from './explain.ts';
export { observed, type Reconciled, reconcile, type ShownSlots } from './observed.ts';
export { boots, type Operation, type OperationName, shortDigest } from './operation.ts';
export { type Goal, type Plan, type PlannedStep, planFor } from './plan.ts';
export { type Refusal, type RefusalReason, refusalOf, type Standing } from './refusal.ts';
export { reserveHeldBy, reserveOf } from './reserve.ts';
export { firstUnsafeInstant, type UnsafeInstant } from './safety.ts';
export type { DeviceKind, Pair, SlotContent, SlotState } from './state.ts';
export { runningSlot, samePair, spareSlot } from './state.ts';
