/**
 * Boot slots: what each holds, what each operation makes of them, and which sequence is safe.
 * Pure; it must never know how a device is reached.
 */
export type { DeviceKind, Pair, SlotContent, SlotState } from './state.ts';
