/**
 * Packets, policies and the exact difference between two policies; findings and promises.
 * This room must never read a configuration language, and never call two policies equal without proof.
 */
export { rowContains } from './contains.ts';
export { type Decision, decide, type TraceStep } from './decide.ts';
export {
  type Naming,
  originText,
  type RowTexts,
  rowText,
} from './describe.ts';
export { changeSentence } from './describe-effect.ts';
export { trafficDifference } from './difference/difference.ts';
export { relevantRules } from './difference/relevant.ts';
export type { Finding, Findings, Way } from './findings/finding.ts';
export { newFindings } from './findings/new-findings.ts';
export { removalEffect } from './findings/removal.ts';
export { overlapFindings, REVIEW_BUDGET, type ReviewOptions, reviewPolicy } from './findings/review.ts';
export { gatherChanges } from './gathered-changes.ts';
export { type GatheredRow, gatherRows, translationParts } from './gathered-rows.ts';
export { icmpProtocol, type Packet } from './packet.ts';
export { type PacketRecord, packetRecord, packetText, readPacket } from './packet-record.ts';
export type {
  Action,
  Condition,
  ConnectionState,
  InterfaceSet,
  Match,
  Origin,
  Path,
  Pipeline,
  Policy,
  Rewrite,
  Rule,
  Stage,
  Unread,
  Verdict,
} from './policy.ts';
export { checkPromises, type PromiseCheck, type TrafficPromise } from './promises.ts';
export {
  type DifferenceRecord,
  differenceRecord,
  originRecord,
  type RowRecord,
  rowRecord,
} from './records.ts';
export {
  DEFAULT_BUDGET,
  type InterfaceTerm,
  type RowOutcome,
  type TrafficBudget,
  type TrafficChange,
  type TrafficDifference,
  type TrafficRow,
  type Unresolved,
} from './row.ts';
export { rowMeets } from './row-meets.ts';
export { differenceSentence, rowSentence } from './sentences.ts';
export type { SpecialBlock } from './special-purpose.ts';
export { rewriteText } from './translation.ts';
export { typedPacket } from './typed-packet.ts';
export { icmpTypeNumber, protocolNumber } from './words.ts';
