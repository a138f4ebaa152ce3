/**
 * Configuration languages: one folder per dialect, each reads files into the typed configuration and writes
 * edits back. This door holds the registry. Pure: no I/O, no clock; dialects never import each other.
 */

export { type CaptureComparison, compareCaptures, trafficBetween } from './compare-captures.ts';
export { type ChosenPart, chooseFrom, graftPart, type PartGraft, withFillIns } from './graft-captures.ts';
export { graftWriterFor } from './graft-writer.ts';
export { namingOf } from './naming.ts';
export { type CapturePart, policyOfCapture, type ReadCapture, readCapture } from './read-capture.ts';
export { dialectFor, dialectNamed, dialects } from './registry.ts';
export { decode, encode } from './source/index.ts';
export { withUnreadFiles } from './unread-files.ts';
