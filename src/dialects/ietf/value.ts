import { formatAddress, parseAddress, parseAddresses } from '#core/address';
import type { Value } from '#core/config';
import { type DataNode, withoutPrefix } from './data.ts';

/** Leaves that hold identities, whose prefix is a matter of the encoding (RFC 7951 section 6.8). */
const IDENTITIES = new Set([
  'type',
  'forwarding',
  'logging',
  'address-family',
  'source-protocol',
  'default-action',
]);
/** Lists and leaf-lists of the modules read here: always lists, also with one entry, so that XML and JSON agree. */
const LISTS = new Set([
  'acl',
  'ace',
  'acl-set',
  'interface',
  'route',
  'rib',
  'control-plane-protocol',
  'server',
  'search',
  'user',
  'authorized-key',
  'user-authentication-order',
  'prefix',
]);
/** Lists whose order a user sets (`ordered-by user`). All others are sorted. */
const ORDERED = new Set(['ace', 'acl-set', 'search', 'user-authentication-order', 'server']);

/** The value below a node, the same for XML and JSON: containers as fields, lists as lists. `except`: names left out. */
export function dataValue(node: DataNode, except: readonly string[] = []): Value {
  if (node.children.length === 0) return node.text === null ? true : leafValue(node.name, node.text);
  const fields: Fields = {};
  const isHopList = node.name === 'next-hop-list';
  let groups: Map<string, Value[]> | undefined;
  for (const part of node.children) {
    const { name } = part;
    if (except.includes(name)) continue;
    const value = dataValue(part);
    const group = groups?.get(name);
    if (group !== undefined) group.push(value);
    else if (Object.hasOwn(fields, name) || LISTS.has(name) || isHopList) {
      groups ??= new Map();
      groups.set(name, Object.hasOwn(fields, name) ? [fields[name]!, value] : [value]);
      put(fields, name, value);
    } else put(fields, name, value);
  }
  for (const [name, values] of groups ?? []) put(fields, name, ORDERED.has(name) ? values : sorted(values));
  return fields;
}

type Fields = { [name: string]: Value };

/** A field of any name: that of the prototype is one like any other. */
function put(fields: Fields, name: string, value: Value): void {
  if (name !== '__proto__') fields[name] = value;
  else Object.defineProperty(fields, name, { value, enumerable: true, configurable: true, writable: true });
}

/** A leaf in canonical form (RFC 6991): numbers as numbers, addresses lower case and short, host bits of prefixes zero. */
export function leafValue(name: string, text: string): Value {
  if (text === 'true' || text === 'false') return text === 'true';
  if (/^-?\d{1,15}$/.test(text)) return Number(text);
  if (IDENTITIES.has(name)) return withoutPrefix(text);
  const address = parseAddress(text);
  if (address !== undefined) return formatAddress(address);
  if (text.includes('/')) {
    const prefix = parseAddresses(text);
    if (prefix !== undefined)
      return `${formatAddress(prefix.ranges[0]!.low)}/${text.slice(text.indexOf('/') + 1)}`;
  }
  return text;
}

export function sorted(values: readonly Value[]): readonly Value[] {
  if (values.length < 2) return values;
  const key = new Map(values.map((value) => [value, JSON.stringify(value)]));
  return [...values].sort((a, b) => (key.get(a)! < key.get(b)! ? -1 : key.get(a)! > key.get(b)! ? 1 : 0));
}
