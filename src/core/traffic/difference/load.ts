import {
  type AddressSet,
  type Family,
  intersectNumbers,
  isEveryAddress,
  type NumberSet,
  numbers,
} from '#core/address';
import { icmpProtocol, PORT_PROTOCOLS } from '../packet.ts';
import type { Action, Condition, InterfaceSet, Match, Rule, Stage } from '../policy.ts';
import { rewriteText } from '../translation.ts';
import { Field, type FieldSet, fieldSetOf, isAddressSet, isEmptySet, STATES } from './fields.ts';
import { SameSets } from './same-sets.ts';

/**
 * A rule made ready for one family. Interface sets and conditions stay symbolic: their numbers depend on
 * the names in both policies.
 */
export class LoadedRule {
  readonly rule: Rule;
  /** Sets of the fields from `source` to `state`, at their field numbers; undefined when no packet can match. */
  readonly sets: readonly (FieldSet | undefined)[] | undefined;
  readonly inInterface: InterfaceSet | undefined;
  readonly outInterface: InterfaceSet | undefined;
  readonly #first: LoadedRule;
  #key: string | undefined;

  constructor(
    rule: Rule,
    sets: LoadedRule['sets'],
    inInterface: InterfaceSet | undefined,
    outInterface: InterfaceSet | undefined,
    first?: LoadedRule,
  ) {
    this.rule = rule;
    this.sets = sets;
    this.inInterface = inInterface;
    this.outInterface = outInterface;
    this.#first = first ?? this;
  }

  get conditions(): readonly Condition[] {
    return this.rule.match.conditions ?? NO_CONDITIONS;
  }

  /** Everything the rule means but the target of a skip: equal keys, equal rules. */
  get key(): string {
    const first = this.#first;
    first.#key ??= keyOf(first);
    return first.#key;
  }

  isLike(other: LoadedRule): boolean {
    return this.#first === other.#first || this.key === other.key;
  }

  /** The same for a rule of the same match and action. */
  as(rule: Rule): LoadedRule {
    return new LoadedRule(rule, this.sets, this.inInterface, this.outInterface, this.#first);
  }
}

const NO_CONDITIONS: readonly Condition[] = [];

export interface LoadedStage {
  readonly kind: Stage['kind'];
  readonly name: string;
  readonly rules: readonly LoadedRule[];
  /** Lowest and highest value per rule of source, destination, protocol and service, for quick rejection. */
  readonly hulls: Float64Array;
  /** The distinct interface sets of the rules, and which of them each rule has. */
  readonly inSets: InterfaceIndex;
  readonly outSets: InterfaceIndex;
  /** Where the rules stand that go on further down. */
  readonly skips: readonly number[];
  /** Interface names that any rule mentions. */
  readonly inNames: ReadonlySet<string>;
  readonly outNames: ReadonlySet<string>;
}

/** Few sets of interfaces serve many rules: what is asked of one is asked once. */
export interface InterfaceIndex {
  readonly sets: readonly (InterfaceSet | undefined)[];
  /** By rule, an index into `sets`. */
  readonly of: Int32Array;
}

const loaded = new WeakMap<Stage, Map<Family, LoadedStage>>();

/**
 * A stage made ready for one family. Done once per stage: policies do not change after they are made. Rules
 * of the very same match are taken from `like`.
 */
export function loadStage(stage: Stage, family: Family, like?: LoadedStage): LoadedStage {
  let families = loaded.get(stage);
  if (families === undefined) {
    families = new Map();
    loaded.set(stage, families);
  }
  let ready = families.get(family);
  if (ready === undefined) {
    const known: Known = { sets: new SameSets(), interfaces: new Map() };
    const taken = takenFrom(like);
    const rules = stage.rules.map((rule) => taken(rule) ?? loadRule(rule, family, known));
    const inSets = indexOf(rules.map((rule) => rule.inInterface));
    const outSets = indexOf(rules.map((rule) => rule.outInterface));
    ready = {
      kind: stage.kind,
      name: stage.name,
      rules,
      hulls: hullsOf(rules),
      inSets,
      outSets,
      skips: skipsIn(rules),
      inNames: new Set(inSets.sets.flatMap((set) => set?.names ?? [])),
      outNames: new Set(outSets.sets.flatMap((set) => set?.names ?? [])),
    };
    families.set(family, ready);
  }
  return ready;
}

/** Lets rules be taken from a stage already loaded: those of the very same match, and of the same action but for targets. */
function takenFrom(like: LoadedStage | undefined): (rule: Rule) => LoadedRule | undefined {
  if (like === undefined) return () => undefined;
  const byMatch = new Map(like.rules.map((loaded) => [loaded.rule.match, loaded]));
  return (rule) => {
    const found = byMatch.get(rule.match);
    return found !== undefined && isSame(found.rule.action, rule.action) ? found.as(rule) : undefined;
  };
}

function isSame(a: Action, b: Action): boolean {
  if ('verdict' in a) return 'verdict' in b && a.verdict === b.verdict;
  return 'skip' in a ? 'skip' in b : 'rewrite' in b && a.rewrite === b.rewrite;
}

/** Lets equal sets of a stage be one object, so that later steps look at each only once. */
interface Known {
  readonly sets: SameSets;
  readonly interfaces: Map<string, InterfaceSet>;
}

function loadRule(rule: Rule, family: Family, known: Known): LoadedRule {
  const { inInterface, outInterface } = rule.match;
  const sets = setsOf(rule.match, family);
  if (sets !== undefined) known.sets.share(sets);
  return new LoadedRule(rule, sets, shared(inInterface, known), shared(outInterface, known));
}

function keyOf({ rule, sets, inInterface, outInterface, conditions }: LoadedRule): string {
  // Joined at once: a text put together piece by piece is only made whole when it is first compared.
  return sameText([
    ...setKeys(sets),
    interfacesKey(inInterface),
    interfacesKey(outInterface),
    conditionsKey(conditions),
    actionKey(rule.action),
  ]);
}

/** Keys seen last: an equal one is then the same text, and to compare the two is to compare where they stand. */
const KEYS = new Map<string, string>();
const MOST_KEYS = 200_000;

function sameText(parts: readonly string[]): string {
  const key = parts.join(';');
  const known = KEYS.get(key);
  if (known !== undefined) return known;
  if (KEYS.size >= MOST_KEYS) KEYS.clear();
  KEYS.set(key, key);
  return key;
}

function shared(set: InterfaceSet | undefined, { interfaces }: Known): InterfaceSet | undefined {
  if (set === undefined) return undefined;
  const key = interfacesKey(set);
  const same = interfaces.get(key);
  if (same === undefined) interfaces.set(key, set);
  return same ?? set;
}

const WITH_PORTS = numbers(...PORT_PROTOCOLS);
const ICMP = numbers(icmpProtocol(4));
const ICMPV6 = numbers(icmpProtocol(6));

/** Field sets of a match with the protocol that its ports or ICMP types imply. Sets that hold everything are dropped. */
function setsOf(match: Match, family: Family): (FieldSet | undefined)[] | undefined {
  let protocol = match.protocol;
  const within = (allowed: NumberSet) => {
    protocol = protocol === undefined ? allowed : intersectNumbers(protocol, allowed);
  };
  if (match.sourcePort !== undefined || match.destinationPort !== undefined) within(WITH_PORTS);
  if (match.icmp !== undefined) within(family === 4 ? ICMP : ICMPV6);
  const sets = new Array<FieldSet | undefined>(Field.firstCondition).fill(undefined);
  sets[Field.source] = addressesOf(match.source, family);
  sets[Field.destination] = addressesOf(match.destination, family);
  sets[Field.protocol] = limited(protocol, 255);
  sets[Field.sourcePort] = limited(match.sourcePort, 0xffff);
  sets[Field.service] = limited(match.destinationPort ?? match.icmp, 0xffff);
  if (match.states !== undefined) {
    sets[Field.state] = limited(numbers(...match.states.map((s) => STATES.indexOf(s))), STATES.length - 1);
  }
  return sets.some((set) => set !== undefined && isEmptySet(set)) ? undefined : sets;
}

function addressesOf(set: AddressSet | undefined, family: Family): FieldSet | undefined {
  if (set === undefined) return undefined;
  if (set.family !== family) return [];
  return isEveryAddress(set) ? undefined : fieldSetOf(set);
}

function limited(set: NumberSet | undefined, top: number): NumberSet | undefined {
  return set !== undefined && set.length === 2 && set[0]! <= 0 && set[1]! >= top ? undefined : set;
}

function setKeys(sets: LoadedRule['sets']): string[] {
  if (sets === undefined) return ['never'];
  const keys: string[] = [];
  for (let f = Field.source; f < sets.length; f++) {
    const set = sets[f];
    if (set === undefined) keys.push('');
    else if (isAddressSet(set))
      keys.push(set.ranges.map((r) => `${r.low.join('.')}-${r.high.join('.')}`).join());
    else keys.push(set.join());
  }
  return keys;
}

function interfacesKey(set: InterfaceSet | undefined): string {
  if (set === undefined) return '';
  const names = set.names.length === 1 ? set.names[0]! : [...set.names].sort().join('|');
  return set.except ? `!${names}` : names;
}

function conditionsKey(conditions: readonly Condition[]): string {
  return conditions
    .map((c) => `${c.holds ? '+' : '-'}${c.name}`)
    .sort()
    .join('|');
}

function actionKey(action: Action): string {
  if ('verdict' in action) return action.verdict;
  return 'skip' in action ? 'skip' : rewriteText(action.rewrite);
}

function skipsIn(rules: readonly LoadedRule[]): number[] {
  const skips: number[] = [];
  for (let i = 0; i < rules.length; i++) if ('skip' in rules[i]!.rule.action) skips.push(i);
  return skips;
}

function indexOf(list: readonly (InterfaceSet | undefined)[]): InterfaceIndex {
  const places = new Map<InterfaceSet | undefined, number>();
  const of = Int32Array.from(list, (set) => {
    const known = places.get(set);
    if (known === undefined) places.set(set, places.size);
    return known ?? places.size - 1;
  });
  return { sets: [...places.keys()], of };
}

/** Fields in `hulls`, two numbers each. IPv6 addresses are represented by their first word. */
export const HULL_FIELDS = [Field.source, Field.destination, Field.protocol, Field.service] as const;
export const HULL_WIDTH = HULL_FIELDS.length * 2;

function hullsOf(rules: readonly LoadedRule[]): Float64Array {
  const hulls = new Float64Array(rules.length * HULL_WIDTH);
  let at = 0;
  for (const { sets } of rules) {
    for (const field of HULL_FIELDS) {
      hulls[at++] = sets === undefined ? 1 : lowestOf(sets[field]);
      hulls[at++] = sets === undefined ? 0 : highestOf(sets[field]);
    }
  }
  return hulls;
}

/** Bounds in plain numbers that no value of the set exceeds. */
export function numericHull(set: FieldSet | undefined): [number, number] {
  return [lowestOf(set), highestOf(set)];
}

function lowestOf(set: FieldSet | undefined): number {
  if (set === undefined) return 0;
  return isAddressSet(set) ? set.ranges[0]!.low[0]! : set[0]!;
}

function highestOf(set: FieldSet | undefined): number {
  if (set === undefined) return 0xffff_ffff;
  return isAddressSet(set) ? set.ranges.at(-1)!.high[0]! : set.at(-1)!;
}
