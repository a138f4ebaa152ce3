/**
 * Packets, policies and the exact difference between two policies; findings and promises.
 * This room must never read a configuration language, and never call two policies equal without proof.
 */
export { type Decision, decide, type TraceStep } from './decide.ts';
export { hasPorts, icmpProtocol, type Packet, PORT_PROTOCOLS } from './packet.ts';
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
export { rewriteText } from './translation.ts';
