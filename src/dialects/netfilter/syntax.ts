/** What the readers (text and JSON) make of a ruleset; one vocabulary for both. */
import type { Match } from '#core/traffic';

/** A single word (name, number, address, quoted text) stands for itself. */
export type Expression =
  | string
  | { readonly kind: 'range'; readonly from: Expression; readonly to: Expression }
  | { readonly kind: 'prefix'; readonly address: Expression; readonly length: Expression }
  | { readonly kind: 'list'; readonly items: readonly Expression[] }
  | { readonly kind: 'set'; readonly elements: readonly Expression[] }
  | { readonly kind: 'pair'; readonly key: Expression; readonly data: Expression }
  /** A named set or map, `@name`. */
  | { readonly kind: 'name'; readonly name: string }
  | { readonly kind: 'concat'; readonly parts: readonly Expression[] }
  | { readonly kind: 'bits'; readonly op: string; readonly left: Expression; readonly right: Expression }
  /** A property of the packet or its connection, such as `ip saddr`, `meta iifname`, `ct state`. */
  | { readonly kind: 'field'; readonly name: string }
  | { readonly kind: 'lookup'; readonly key: Expression; readonly map: Expression }
  | Verdict
  /** `*` in a set. */
  | { readonly kind: 'any' };

export interface Verdict {
  readonly kind: 'verdict';
  readonly verdict: 'accept' | 'drop' | 'continue' | 'return' | 'queue' | 'jump' | 'goto';
  /** For jump and goto. */
  readonly chain: string | null;
}

/** `in` is a comparison without a sign on flags: one of them is set. */
export type Comparison = '==' | '!=' | '<' | '>' | '<=' | '>=' | 'in';

export interface Nat {
  readonly kind: 'nat';
  readonly nat: 'snat' | 'dnat' | 'masquerade' | 'redirect';
  readonly family: 'ip' | 'ip6' | null;
  readonly address: Expression | null;
  readonly port: Expression | null;
  readonly flags: readonly string[];
}

export type Statement =
  | {
      readonly kind: 'match';
      readonly left: Expression;
      readonly op: Comparison;
      readonly right: Expression;
    }
  /** At least one of these comparisons holds. */
  | { readonly kind: 'either'; readonly of: readonly Statement[] }
  | { readonly kind: 'vmap'; readonly key: Expression; readonly map: Expression }
  | Verdict
  /** `with` is `''`, `tcp reset`, `icmp X`, `icmpv6 X` or `icmpx X`. */
  | { readonly kind: 'reject'; readonly with: string }
  | Nat
  | { readonly kind: 'notrack' }
  /** Counts, logs, marks: no influence on where the packet goes. */
  | { readonly kind: 'inert'; readonly text: string }
  /** Adds to a set while packets pass. */
  | { readonly kind: 'update'; readonly set: string; readonly text: string }
  /** Changes a field: `set` for marks and the like, `rewrite` when it changes what later rules match on. */
  | { readonly kind: 'change'; readonly field: string; readonly value: Expression }
  /** A condition the packet space cannot express (rate, quota, connection count), by its own text. */
  | { readonly kind: 'condition'; readonly text: string }
  /** Understood, but it takes the packet out of our sight (queue to a program, transparent proxy, …). */
  | { readonly kind: 'elsewhere'; readonly text: string }
  | { readonly kind: 'opaque'; readonly text: string; readonly why: string };

/** A mention of a named thing inside a rule or set, with its offsets. */
export interface Mention {
  readonly kind: 'set' | 'chain' | 'define' | 'object';
  readonly name: string;
  readonly start: number;
  readonly end: number;
}

export interface Place {
  readonly file: string;
  readonly start: number;
  readonly end: number;
}

/** What follows from a rule's statements alone, once it was worked out. It comes along where the same text is read again. */
export interface Worked {
  value: readonly string[] | null;
  /** The rule's text as messages show it. */
  excerpt: { readonly text: string; readonly whole?: string } | null;
  /** What the rule compiles to at one kind of place, for each family of packets. */
  kind: number;
  4: KnownWays;
  6: KnownWays;
}

/** Undefined as long as it was not asked; null where it depends on more than the rule. */
export type KnownWays = Ways | null | undefined;

/** Packets that a rule takes out of its chain, and how. */
export interface Ways {
  readonly matches: readonly Match[];
  /** Null for a rule that takes none. */
  readonly verdict: 'accept' | 'drop' | 'return' | null;
  readonly usesState: boolean;
}

export interface Rule {
  readonly place: Place;
  readonly statements: readonly Statement[];
  readonly worked: Worked;
  readonly comment: string | null;
  readonly handle: number | null;
  readonly mentions: readonly Mention[];
}

export interface Hook {
  readonly type: string;
  readonly hook: string;
  readonly priority: number;
  /** As written, for example `filter + 10`. */
  readonly priorityText: string;
  readonly devices: readonly string[];
}

export interface Chain {
  readonly name: string;
  place: Place;
  hook: Hook | null;
  policy: 'accept' | 'drop' | null;
  comment: string | null;
  readonly rules: Rule[];
}

/** A named set or map. `elements` holds keys, or pairs for a map. */
export interface NamedSet {
  readonly name: string;
  place: Place;
  readonly map: boolean;
  /** Key type as written: `ipv4_addr . inet_service`, or `typeof ip saddr`. Empty when not said. */
  type: string;
  dataType: string;
  flags: readonly string[];
  /** What else is said of it, times in seconds: `size 128`, `timeout 3600`, `auto-merge`. */
  settings: readonly string[];
  comment: string | null;
  elements: Expression[];
  mentions: Mention[];
}

/** Anything else with a name in a table: counters, quotas, limits, helpers, flowtables. */
export interface NamedObject {
  readonly what: string;
  readonly name: string;
  readonly place: Place;
  readonly text: string;
}

export interface Define {
  readonly name: string;
  readonly place: Place;
  readonly value: Expression;
  readonly mentions: readonly Mention[];
}

export interface Table {
  readonly family: string;
  readonly name: string;
  place: Place;
  dormant: boolean;
  comment: string | null;
  readonly chains: Map<string, Chain>;
  readonly sets: Map<string, NamedSet>;
  readonly objects: Map<string, NamedObject>;
}

/** The table, and the chain or null, that something stands in. */
export interface Within {
  readonly table: string;
  readonly chain: string | null;
}

/** A stretch outside rules (or a whole rule's part) that was not read. */
export interface Unread {
  readonly place: Place;
  readonly why: string;
  readonly within: Within | null;
  readonly mayAffectTraffic: boolean;
}

/** A whole ruleset after all commands. */
export interface Ruleset {
  /** By `family name`. */
  readonly tables: Map<string, Table>;
  readonly defines: Define[];
  readonly unread: Unread[];
}
