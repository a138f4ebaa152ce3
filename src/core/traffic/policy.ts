import type { AddressSet, Family, NumberSet } from '#core/address';

/** Forwarded by the device, addressed to it, or sent by it. */
export type Path = 'through' | 'to' | 'from';

export type Verdict = 'accept' | 'drop' | 'reject';

/** Connection states as the packet filter's tracking sees them. A packet has exactly one. */
export type ConnectionState = 'new' | 'established' | 'related' | 'invalid' | 'untracked';

/** Where a rule stands in the user's material. A chain's policy has the line of the chain's head. */
export interface Origin {
  readonly file: string;
  /** Counts from 1. */
  readonly line: number;
  readonly text: string;
  /** All of the text, where `text` shows only some of it. To compare by, not to show. */
  readonly whole?: string;
}

/**
 * A set of interface (or zone) names. `names` may end in `*`: every name that begins so.
 * `except` turns it round: every name but these. A packet without an interface on that side (the out side of
 * path `to`, the in side of path `from`) has the name `''` there.
 */
export interface InterfaceSet {
  readonly names: readonly string[];
  readonly except?: boolean;
}

/**
 * Something that the packet space cannot express, as a named yes-or-no: a rate limit, a mark, the time, a set
 * whose content is not known. One name is one condition in both policies that are compared. What depends
 * on the packet alone (a mark, a flag) is named by its text; what counts or remembers (a rate limit, a quota)
 * is a condition of its own per rule, so its name must tell equal texts in one policy apart
 * (`limit rate 5/second #2`).
 */
export interface Condition {
  readonly name: string;
  readonly holds: boolean;
}

/**
 * All limits must hold; an absent limit means any; an empty set never matches.
 * Ports exist for TCP, UDP, UDP-Lite, SCTP and DCCP only: a port limit implies one of these protocols.
 * `icmp` exists for ICMP over IPv4 and ICMPv6 over IPv6 only, as `type * 256 + code`, and implies that protocol.
 */
export interface Match {
  readonly inInterface?: InterfaceSet;
  readonly outInterface?: InterfaceSet;
  readonly source?: AddressSet;
  readonly destination?: AddressSet;
  /** IP protocol numbers 0-255. */
  readonly protocol?: NumberSet;
  readonly sourcePort?: NumberSet;
  readonly destinationPort?: NumberSet;
  readonly icmp?: NumberSet;
  readonly states?: readonly ConnectionState[];
  readonly conditions?: readonly Condition[];
}

/**
 * A translation. `addresses` and `ports` are what may be chosen from; absent means unchanged (for
 * `masquerade` and `redirect`: the device's own address). `redirect` hands the packet to the device itself:
 * on path `through` it goes on in the stages of path `to` that follow the stage of the same name.
 */
export interface Rewrite {
  readonly kind: 'snat' | 'dnat' | 'masquerade' | 'redirect';
  readonly addresses?: AddressSet;
  readonly ports?: NumberSet;
}

/**
 * What a rule does when it matches:
 * - a verdict: `drop` and `reject` are final; `accept` ends this stage and goes on to the next;
 * - `skip`: go on at rule number `skip` of the same stage. Always forward (`skip` > own index); the number of
 *   rules means the end of the stage. This is how jump, goto and return are expressed once chains are inlined;
 * - `rewrite` (nat stages only): translate, end this stage, and let the later stages see the packet
 *   as translated.
 */
export type Action =
  | { readonly verdict: Verdict }
  | { readonly skip: number }
  | { readonly rewrite: Rewrite };

export interface Rule {
  readonly match: Match;
  readonly action: Action;
  readonly origin: Origin;
}

/**
 * One step on a packet's way: one base chain, or one rule list. Rules are tried in order; running off the
 * end goes on to the next stage, exactly like `accept`. So a chain's policy is a last rule that matches everything.
 */
export interface Stage {
  readonly kind: 'filter' | 'nat';
  /** For example `ip nat prerouting`. Unique within a pipeline, and the same for the same chain on other paths. */
  readonly name: string;
  readonly rules: readonly Rule[];
}

/** The stages that packets of one path and family pass, in order. After the last stage a packet is accepted. */
export interface Pipeline {
  readonly path: Path;
  readonly family: Family;
  readonly stages: readonly Stage[];
}

/** A statement that was not understood, and what it could touch. Absent limits mean: anything. */
export interface Unread extends Origin {
  /** Why, in a few words: `synproxy is not modelled`. */
  readonly reason: string;
  readonly paths?: readonly Path[];
  readonly families?: readonly Family[];
  /** Which packets it could touch at most, as seen at its own stage. */
  readonly match?: Match;
}

/**
 * What a dialect compiles a configuration to. A path and family without a pipeline lets everything pass.
 * What a dialect cannot express must stand in `unread`, so that each answer says what it is exact but for.
 */
export interface Policy {
  readonly pipelines: readonly Pipeline[];
  readonly unread: readonly Unread[];
}
