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

/**
 * A rule made ready for one family. Interface sets and conditions stay symbolic: their numbers depend on
 * the names in both policies.
 */
export interface LoadedRule {
  readonly rule: Rule;
  /** Everything the rule means but the target of a skip: equal keys, equal rules. */
  readonly key: string;
  /** Sets of the fields from `source` to `state`, at their field numbers; undefined when no packet can match. */
  readonly sets: readonly (FieldSet | undefined)[] | undefined;
  readonly inInterface: InterfaceSet | undefined;
  readonly outInterface: InterfaceSet | undefined;
  readonly conditions: readonly Condition[];
}

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
 * A stage made ready for one family. Done once per stage: policies do not change after they are made. What begins and ends
 * as `like` does, by the very same matches, is taken from there.
 */
export function loadStage(stage: Stage, family: Family, like?: LoadedStage): LoadedStage {
  let families = loaded.get(stage);
  if (families === undefined) {
    families = new Map();
    loaded.set(stage, families);
  }
  let ready = families.get(family);
  if (ready === undefined) {
    const known: Known = { sets: new Map(), interfaces: new Map() };
    const same = like === undefined ? NOTHING_SAME : sameEnds(like.rules, stage.rules);
    const behind = stage.rules.length - same.end;
    const rules = stage.rules.map((rule, i) => {
      if (i >= same.start && i < behind) return loadRule(rule, family, known);
      return { ...like!.rules[i < behind ? i : i - stage.rules.length + like!.rules.length]!, rule };
    });
    ready = {
      kind: stage.kind,
      name: stage.name,
      rules,
      hulls: hullsOf(rules),
      inSets: indexOf(rules.map((rule) => rule.inInterface)),
      outSets: indexOf(rules.map((rule) => rule.outInterface)),
      skips: rules.flatMap(({ rule }, i) => ('skip' in rule.action ? [i] : [])),
      inNames: new Set(rules.flatMap(({ inInterface }) => inInterface?.names ?? [])),
      outNames: new Set(rules.flatMap(({ outInterface }) => outInterface?.names ?? [])),
    };
    families.set(family, ready);
  }
  return ready;
}

const NOTHING_SAME = { start: 0, end: 0 };

/** How many rules at the beginning and at the end are loaded alike: the same match, and the same action but for targets. */
function sameEnds(loaded: readonly LoadedRule[], rules: readonly Rule[]): typeof NOTHING_SAME {
  const most = Math.min(loaded.length, rules.length);
  let start = 0;
  while (start < most && isSame(loaded[start]!.rule, rules[start]!)) start++;
  let end = 0;
  while (start + end < most && isSame(loaded[loaded.length - 1 - end]!.rule, rules[rules.length - 1 - end]!))
    end++;
  return { start, end };
}

function isSame(a: Rule, b: Rule): boolean {
  if (a.match !== b.match) return false;
  if ('verdict' in a.action) return 'verdict' in b.action && a.action.verdict === b.action.verdict;
  if ('skip' in a.action) return 'skip' in b.action;
  return 'rewrite' in b.action && a.action.rewrite === b.action.rewrite;
}

/** Lets equal sets of a stage be one object, so that later steps look at each only once. */
interface Known {
  readonly sets: Map<string, FieldSet>;
  readonly interfaces: Map<string, InterfaceSet>;
}

function loadRule(rule: Rule, family: Family, known: Known): LoadedRule {
  const { match } = rule;
  const sets = setsOf(match, family);
  const inKey = interfacesKey(match.inInterface);
  const outKey = interfacesKey(match.outInterface);
  return {
    rule,
    // Joined at once: a text put together piece by piece is only made whole when it is first compared.
    key: sameText([
      ...setKeys(sets, known.sets),
      inKey,
      outKey,
      conditionsKey(match.conditions),
      actionKey(rule.action),
    ]),
    sets,
    inInterface: shared(match.inInterface, inKey, known),
    outInterface: shared(match.outInterface, outKey, known),
    conditions: match.conditions ?? [],
  };
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

function shared(set: InterfaceSet | undefined, key: string, { interfaces }: Known): InterfaceSet | undefined {
  if (set === undefined) return undefined;
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
  const sets: (FieldSet | undefined)[] = new Array(Field.firstCondition).fill(undefined);
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

function setKeys(sets: (FieldSet | undefined)[] | undefined, known: Map<string, FieldSet>): string[] {
  if (sets === undefined) return ['never'];
  const keys: string[] = [];
  for (let f = Field.source; f < sets.length; f++) {
    const set = sets[f];
    if (set === undefined) {
      keys.push('');
      continue;
    }
    const text = isAddressSet(set)
      ? set.ranges.map((r) => `${r.low.join('.')}-${r.high.join('.')}`).join()
      : set.join();
    const same = known.get(text);
    if (same === undefined) known.set(text, set);
    else sets[f] = same;
    keys.push(text);
  }
  return keys;
}

function interfacesKey(set: InterfaceSet | undefined): string {
  return set === undefined ? '' : `${set.except ? '!' : ''}${[...set.names].sort().join('|')}`;
}

function conditionsKey(conditions: readonly Condition[] | undefined): string {
  if (conditions === undefined) return '';
  return conditions
    .map((c) => `${c.holds ? '+' : '-'}${c.name}`)
    .sort()
    .join('|');
}

function actionKey(action: Action): string {
  if ('verdict' in action) return action.verdict;
  return 'skip' in action ? 'skip' : rewriteText(action.rewrite);
}

function indexOf(list: readonly (InterfaceSet | undefined)[]): InterfaceIndex {
  const places = new Map<InterfaceSet | undefined, number>();
  const of = Int32Array.from(list, (set) => {
    const place = places.get(set) ?? places.size;
    places.set(set, place);
    return place;
  });
  return { sets: [...places.keys()], of };
}

/** Fields in `hulls`, two numbers each. IPv6 addresses are represented by their first word. */
export const HULL_FIELDS = [Field.source, Field.destination, Field.protocol, Field.service] as const;
export const HULL_WIDTH = HULL_FIELDS.length * 2;

function hullsOf(rules: readonly LoadedRule[]): Float64Array {
  const hulls = new Float64Array(rules.length * HULL_WIDTH);
  for (const [i, { sets }] of rules.entries()) {
    for (const [h, field] of HULL_FIELDS.entries()) {
      const [low, high] = sets === undefined ? [1, 0] : numericHull(sets[field]);
      hulls[i * HULL_WIDTH + 2 * h] = low;
      hulls[i * HULL_WIDTH + 2 * h + 1] = high;
    }
  }
  return hulls;
}

/** Bounds in plain numbers that no value of the set exceeds. */
export function numericHull(set: FieldSet | undefined): [number, number] {
  if (set === undefined) return [0, 0xffff_ffff];
  if (isAddressSet(set)) return [set.ranges[0]!.low[0]!, set.ranges.at(-1)!.high[0]!];
  return [set[0]!, set.at(-1)!];
}
