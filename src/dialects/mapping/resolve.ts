import {
  type AddressSet,
  exceptAddresses,
  type Family,
  intersectNumbers,
  type NumberSet,
  noAddress,
  numberSet,
} from '#core/address';
import type { InterfaceSet, Match } from '#core/traffic';
import type { Model } from './model.ts';
import { inlineService, type Service } from './services.ts';
import { type AddressFormat, addressesOf, inEntries, listedIn, unite } from './texts.ts';

/** One side of a rule in terms of packets: a limit per family, and what could not be resolved. */
export interface Addresses {
  /** At most one of each family. Null: any address. */
  readonly sets: readonly AddressSet[] | null;
  readonly unknown: readonly string[];
}

const ANY_ADDRESS: Addresses = { sets: null, unknown: [] };

/** Resolves texts to addresses: literals, names of objects and groups, words for any and not. */
export function resolveAddresses(model: Model, texts: readonly string[], format?: AddressFormat): Addresses {
  if (texts.length === 0) return ANY_ADDRESS;
  const { words } = model.mapping;
  const listed = listedIn(texts, words, format);
  if (listed === undefined) return { sets: [], unknown: [texts.join(' ')] };
  const { negated, entries } = listed;
  if (entries.length === 0 || entries.some((text) => words.any.includes(text)))
    return { sets: negated ? [] : null, unknown: [] };
  const sets: AddressSet[] = [];
  const unknown: string[] = [];
  const visit = (text: string, within: readonly string[], as?: AddressFormat): void => {
    const named = model.addresses.get(text);
    const group = model.groups.get(text);
    const literal = addressesOf(text, as);
    if (named !== undefined) {
      sets.push(...named.sets);
      unknown.push(...named.unknown.map((part) => `${text} (${part})`));
    } else if (group !== undefined) {
      if (within.includes(text)) unknown.push(`${text} (contains itself)`);
      else for (const member of inEntries(group, format)) visit(member, [...within, text]);
    } else if (literal !== undefined) sets.push(literal);
    else unknown.push(text);
  };
  for (const text of entries) visit(text, [], format);
  const both = unite(sets);
  if (!negated) return { sets: both, unknown };
  const outside = (family: Family) => exceptAddresses(ofFamily(both, family) ?? noAddress(family));
  // What an unknown part of a negated list would take away is not known either, so all of it is one unknown.
  return unknown.length > 0
    ? { sets: [], unknown: [`not ${entries.join(' ')}`] }
    : { sets: [outside(4), outside(6)], unknown: [] };
}

/** The set of a family, where there is one. */
export function ofFamily(sets: readonly AddressSet[], family: Family): AddressSet | undefined {
  return sets.find((set) => set.family === family);
}

/** The interfaces of one side of a rule. */
export interface Legs {
  /** Undefined: any. */
  readonly set: InterfaceSet | undefined;
  /** Names that are neither a zone nor an interface, where both are known. */
  readonly unknown: readonly string[];
}

const ANY_INTERFACE: Legs = { set: undefined, unknown: [] };

/** Resolves zones and interfaces to interface names. Where no zone has interfaces, zones stand for themselves. */
export function resolveInterfaces(model: Model, texts: readonly string[]): Legs {
  if (texts.length === 0) return ANY_INTERFACE;
  const { words } = model.mapping;
  const listed = listedIn(texts, words);
  if (listed === undefined) return { set: { names: [] }, unknown: [texts.join(' ')] };
  const { negated: except, entries: names } = listed;
  if (names.length === 0 || names.some((text) => words.any.includes(text)))
    return { set: except ? { names: [] } : undefined, unknown: [] };
  const zonesHaveInterfaces = [...model.zones.values()].some((interfaces) => interfaces.size > 0);
  const found = new Set<string>();
  const unknown: string[] = [];
  for (const name of names) {
    const zone = model.zones.get(name);
    if (zone !== undefined && zonesHaveInterfaces) for (const one of zone) found.add(one);
    else if (zone !== undefined || model.interfaces.has(name) || model.interfaces.size === 0) found.add(name);
    else unknown.push(name);
  }
  if (except && unknown.length > 0) return { set: { names: [] }, unknown: [`not ${names.join(' ')}`] };
  return { set: { names: [...found].sort(), ...(except ? { except } : {}) }, unknown };
}

/** What a service limits, for one family. An absent entry: nothing of this family. */
export type ServiceMatch = Pick<Match, 'protocol' | 'sourcePort' | 'destinationPort' | 'icmp'>;

/** Resolves names of services and services written in place. `parts` come from fields of the rule itself. */
export function resolveServices(
  model: Model,
  texts: readonly string[],
  parts: Service,
): { readonly services: readonly Service[]; readonly unknown: readonly string[] } {
  const { words } = model.mapping;
  if (texts.length === 0 && parts.unknown.length === 0) return { services: [parts], unknown: [] };
  const unknown: string[] = [...parts.unknown];
  const services: Service[] = [];
  const visit = (text: string, within: readonly string[]): void => {
    const named = model.services.get(text);
    const group = model.serviceGroups.get(text);
    const inline = named === undefined && group === undefined ? inlineService(text, words) : null;
    if (named !== undefined) {
      services.push(named);
      unknown.push(...named.unknown.map((part) => `${text} (${part})`));
    } else if (group !== undefined) {
      if (within.includes(text)) unknown.push(`${text} (contains itself)`);
      else for (const member of group) visit(member, [...within, text]);
    } else if (inline !== null) services.push(inline);
    else unknown.push(text);
  };
  if (words.not.some((word) => texts.includes(word))) return { services: [], unknown: [texts.join(' ')] };
  const any = texts.length === 0 || texts.some((text) => words.any.includes(text));
  if (!any) for (const text of texts) visit(text, []);
  if (any && parts.unknown.length === 0) return { services: [parts], unknown };
  return { services: services.map((service) => both(service, parts)), unknown };
}

function both(a: Service, b: Service): Service {
  const meet = (x: NumberSet | null, y: NumberSet | null) =>
    x === null ? y : y === null ? x : intersectNumbers(x, y);
  return {
    protocols: meet(a.protocols, b.protocols),
    ports: meet(a.ports, b.ports),
    sourcePorts: meet(a.sourcePorts, b.sourcePorts),
    icmp: a.icmp.length > 0 ? a.icmp : b.icmp,
    unknown: [],
  };
}

/** The limits of a service in one family. ICMP types: `8`, `8/0`, or `any`. */
export function matchOfService({ protocols, ports, sourcePorts, icmp }: Service): ServiceMatch {
  const types = icmp.flatMap((text) => {
    const [, type, code] = /^(\d{1,3})(?:[/:](\d{1,3}))?$/.exec(text) ?? [];
    if (type === undefined) return [];
    return [
      code === undefined
        ? ([Number(type) * 256, Number(type) * 256 + 255] as const)
        : ([Number(type) * 256 + Number(code), Number(type) * 256 + Number(code)] as const),
    ];
  });
  const match: { -readonly [Limit in keyof ServiceMatch]: ServiceMatch[Limit] } = {};
  if (protocols !== null) match.protocol = protocols;
  if (ports !== null) match.destinationPort = ports;
  if (sourcePorts !== null) match.sourcePort = sourcePorts;
  if (types.length > 0) match.icmp = numberSet(types);
  return match;
}
