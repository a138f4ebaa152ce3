import type { AddressSet, Family, NumberSet } from '#core/address';
import type { Packet } from './packet.ts';
import type { Condition, ConnectionState, Path, Policy, Rewrite, Rule, Unread, Verdict } from './policy.ts';

/** What happens to packets: the verdict, and the translations of those that are accepted. */
export interface RowOutcome {
  readonly verdict: Verdict;
  readonly rewrites: readonly Rewrite[];
}

/** One interface name, or all names that begin so (all names, when empty) but these. */
export interface InterfaceTerm {
  readonly text: string;
  readonly single: boolean;
  /** Names and beginnings (`eth1*`) that are not meant although they begin so. */
  readonly but: readonly string[];
}

/** A set of packets in the packet's own terms. Undefined means any. */
export interface PacketSet {
  readonly inInterfaces: readonly InterfaceTerm[] | undefined;
  readonly outInterfaces: readonly InterfaceTerm[] | undefined;
  readonly sources: AddressSet | undefined;
  readonly destinations: AddressSet | undefined;
  readonly protocols: NumberSet | undefined;
  /** Ports are limited only where all protocols of the set have ports. */
  readonly sourcePorts: NumberSet | undefined;
  readonly destinationPorts: NumberSet | undefined;
  /** `type * 256 + code`; limited only where the set is about ICMP alone. */
  readonly icmp: NumberSet | undefined;
  readonly states: readonly ConnectionState[] | undefined;
  /** What belonging hangs on besides the packet itself. */
  readonly conditions: readonly Condition[];
}

/** A set of packets in which every packet is treated alike before, and alike after. */
export interface TrafficRow extends PacketSet {
  readonly path: Path;
  readonly family: Family;
  readonly before: RowOutcome;
  readonly after: RowOutcome;
  /**
   * The rule that decides on the example: on its verdict, or where that stays on its translation. Undefined when no rule
   * does and the packet runs through.
   */
  readonly ruleBefore: Rule | undefined;
  readonly ruleAfter: Rule | undefined;
  readonly example: Packet;
}

/**
 * All rows that come from one cause: the same verdicts, owed to the same changed rules. Where the verdict stays, the
 * translations are the same as well.
 */
export interface TrafficChange {
  readonly path: Path;
  readonly family: Family;
  /** Without translations where those of its rows differ. */
  readonly before: RowOutcome;
  readonly after: RowOutcome;
  /** The changed rule that decided before; undefined when an unchanged rule did. */
  readonly changedBefore: Rule | undefined;
  readonly changedAfter: Rule | undefined;
  /** All changed rules that share packets with this change, directly or through one another. */
  readonly among: readonly Rule[];
  readonly rows: readonly TrafficRow[];
  /** False when there are more rows than the budget allows; those listed are then only the first. */
  readonly complete: boolean;
  /** Logarithm to base 2 of the number of distinct packets, to sort by. */
  readonly size: number;
}

/** A part of the question that ran out of budget. */
export interface Unresolved {
  readonly path: Path;
  readonly family: Family;
  /** The changed rules whose effect is not known in full. */
  readonly rules: readonly Rule[];
  /** A packet that is treated differently, when one was found. */
  readonly packet: Packet | undefined;
}

/** The answer to: which traffic changes between two policies? */
export interface TrafficDifference {
  /** What was compared. */
  readonly before: Policy;
  readonly after: Policy;
  readonly verdict: 'equal' | 'different' | 'undecided';
  /** False when a statement was not read; the answer then holds but for what `unread` may do. */
  readonly exact: boolean;
  readonly unread: readonly Unread[];
  /** Biggest consequence first. */
  readonly changes: readonly TrafficChange[];
  /** The rows of all changes, in the same order: disjoint, and complete where nothing is unresolved. */
  readonly rows: readonly TrafficRow[];
  readonly unresolved: readonly Unresolved[];
  /** Work spent, in list entries looked at. */
  readonly work: number;
}

/** Limits of one comparison. Past them the answer says what is not known; it is never "equal" unproved. */
export interface TrafficBudget {
  /** List entries looked at; about a hundred million a second on a laptop. */
  readonly work: number;
  /** Diagram nodes held at once. */
  readonly nodes: number;
  /** Rows listed per change. */
  readonly rows: number;
}

export const DEFAULT_BUDGET: TrafficBudget = { work: 100_000_000, nodes: 1_000_000, rows: 500 };
