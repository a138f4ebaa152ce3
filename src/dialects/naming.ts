import {
  type AddressSet,
  addressSet,
  formatAddresses,
  numberSet,
  pairsOf,
  parseAddresses,
} from '#core/address';
import { type ConfigObject, objectId, type Value } from '#core/config';
import type { Naming } from '#core/traffic';
import type { ReadCapture } from './read-capture.ts';

/**
 * The names that a user gave to addresses, ports and interfaces in these captures, for rows of traffic. A name that
 * means one thing in one capture and another in the other is not used.
 */
export function namingOf(...captures: readonly ReadCapture[]): Naming {
  const names = new Names();
  for (const { parts } of captures) for (const part of parts) names.addAll(part.configuration.objects);
  const found = names.unambiguous();
  return {
    addresses: (set) => found.get(addressKey(set)),
    ports: (set, protocols) => {
      const ports = portKey(set);
      return (
        found.get(`service ${protocols === undefined ? '' : pairsOf(protocols).join(';')} ${ports}`) ??
        found.get(`service  ${ports}`)
      );
    },
    interfaces: (list) => found.get(interfaceKey(list)),
  };
}

const addressKey = (set: AddressSet) => `address ${formatAddresses(set).join(',')}`;
const portKey = (set: readonly number[]) => pairsOf(set).join(',');
const interfaceKey = (names: readonly string[]) => `zone ${[...names].sort().join(',')}`;

class Names {
  /** By name and sort of key: the values it was given; and by value: its first name. */
  private readonly values = new Map<string, Set<string>>();
  private readonly entries: { readonly key: string; readonly name: string; readonly sort: string }[] = [];

  addAll(objects: readonly ConfigObject[]): void {
    const byId = new Map(objects.map((object) => [object.id, object]));
    for (const object of objects) for (const key of keysOf(object, byId)) this.add(titleOf(object), key);
  }

  private add(name: string, key: string): void {
    // IPv4 and IPv6 addresses of one object are two values that do not contradict each other.
    const sort = `${name} ${key.split(' ', 1)[0]} ${key.includes(':') ? 6 : 4}`;
    const known = this.values.get(sort);
    if (known === undefined) this.values.set(sort, new Set([key]));
    else known.add(key);
    this.entries.push({ key, name, sort });
  }

  unambiguous(): Map<string, string> {
    const found = new Map<string, string>();
    for (const { key, name, sort } of this.entries)
      if (this.values.get(sort)?.size === 1 && !found.has(key)) found.set(key, name);
    return found;
  }
}

/** The name as it stands in rules: `@crew` for the set `inet gate crew`. */
function titleOf({ kind, name, value }: ConfigObject): string {
  const isSet = kind.endsWith('group') || kind === 'zone';
  return isSet && 'elements' in fieldsOf(value) ? `@${name.split(' ').at(-1)}` : name;
}

type ById = ReadonlyMap<string, ConfigObject>;

/** What an object stands for, as texts that compare; none where it is not known in full. */
function keysOf(object: ConfigObject, byId: ById): string[] {
  switch (object.kind) {
    case 'address':
    case 'address-group':
      return (addressesOf(object, byId, []) ?? []).map(addressKey);
    case 'service':
    case 'service-group':
      return serviceKeys(object.value);
    case 'zone': {
      const names = textsOf(fieldsOf(object.value).interfaces ?? fieldsOf(object.value).elements);
      return names === null || names.length === 0 || names.some((n) => n.includes('*'))
        ? []
        : [interfaceKey(names.map((n) => n.replace(/^"|"$/g, '')))];
    }
    default:
      return [];
  }
}

/** A larger set is not looked at: to compare it with every row would take longer than the rows. */
const MOST_ELEMENTS = 50_000;

/** One set per family. */
function addressesOf(object: ConfigObject, byId: ById, within: readonly string[]): AddressSet[] | null {
  const fields = fieldsOf(object.value);
  // Filled by programs: what the text says is not all. Texts: a part was not understood.
  const isOpen = (textsOf(fields.flags) ?? []).some((flag) => flag === 'dynamic' || flag === 'timeout');
  if (isOpen || fields.texts !== undefined || within.includes(object.id)) return null;
  const texts = textsOf(object.value) ?? textsOf(fields.elements ?? fields.addresses ?? fields.members);
  if (texts !== null && texts.length > MOST_ELEMENTS) return null;
  const sets: AddressSet[] = [];
  for (const text of texts ?? []) {
    const named = byId.get(objectId('address', text)) ?? byId.get(objectId('address-group', text));
    const literal = parseAddresses(text);
    const some =
      literal !== undefined ? [literal] : named && addressesOf(named, byId, [...within, object.id]);
    if (some == null) return null;
    sets.push(...some);
  }
  return ([4, 6] as const).flatMap((family) => {
    const ranges = sets.flatMap((set) => (set.family === family ? set.ranges : []));
    return ranges.length === 0 ? [] : [addressSet(family, ranges)];
  });
}

function serviceKeys(value: Value): string[] {
  const fields = fieldsOf(value);
  if (fields.texts !== undefined || fields.members !== undefined) return [];
  if (fields.sourcePorts != null || (textsOf(fields.icmp)?.length ?? 0) > 0) return [];
  const ports = textsOf(value) ?? textsOf(fields.elements ?? fields.ports);
  const pairs = (ports ?? []).map((text) => /^(\d+)(?:-(\d+))?$/.exec(text));
  if (pairs.length === 0 || pairs.some((pair) => pair === null)) return [];
  const set = numberSet(pairs.map((pair) => [Number(pair![1]), Number(pair![2] ?? pair![1])]));
  const protocols = textsOf(fields.protocols ?? null) ?? [];
  return [`service ${protocols.map((p) => `${p},${p}`).join(';')} ${portKey(set)}`];
}

function fieldsOf(value: Value): { readonly [field: string]: Value } {
  return typeof value === 'object' && value !== null && !Array.isArray(value)
    ? (value as { readonly [field: string]: Value })
    : {};
}

function textsOf(value: Value | undefined): readonly string[] | null {
  return Array.isArray(value) && value.every((one) => typeof one === 'string') ? value : null;
}
