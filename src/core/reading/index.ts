/**
 * Readings: the state of a device at an instant, rates from counters, and the comparison with an earlier reading.
 * Pure; it must never fetch a reading.
 */
export { type Comparison, type ComparisonVerdict, compareReadings } from './compare.ts';
export {
  bootedBetween,
  COUNTER_NAMES,
  type CounterName,
  counterDifference,
  type InterfaceRates,
  interfaceRates,
  type Rate,
  shortestWrapSeconds,
  type Told,
} from './counters.ts';
export type { CompareOptions, FieldRule, Finding, FindingKind, Judgement } from './finding.ts';
export { secondsOf } from './instant.ts';
export { compareShares, erfc, fisherExact, type ProportionTest, type Share } from './proportions.ts';
export type { InterfaceReading, LinkState, LossReading, Reading } from './reading.ts';
