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
  const groups = new Map<string, Value[]>();
  for (const part of node.children) {
    if (except.includes(part.name)) continue;
    const group = groups.get(part.name);
    if (group === undefined) groups.set(part.name, [dataValue(part)]);
    else group.push(dataValue(part));
  }
  const fields = new Map<string, Value>();
  for (const [name, values] of groups) {
    const isList = LISTS.has(name) || node.name === 'next-hop-list';
    if (!isList && values.length === 1) fields.set(name, values[0]!);
    else fields.set(name, ORDERED.has(name) ? values : sorted(values));
  }
  return Object.fromEntries(fields);
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

export function sorted(values: readonly Value[]): Value[] {
  const key = new Map(values.map((value) => [value, JSON.stringify(value)]));
  return [...values].sort((a, b) => (key.get(a)! < key.get(b)! ? -1 : key.get(a)! > key.get(b)! ? 1 : 0));
}
