/**
 * Readings: the state of a device at an instant, rates from counters, and the comparison with an earlier reading.
 * Pure; it must never fetch a reading.
 */
export type { InterfaceReading, LinkState, LossReading, Reading } from './reading.ts';
