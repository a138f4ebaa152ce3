import { formatAddress, parseAddress } from '#core/address';
import type { Value } from '#core/config';
import { childrenNamed, type DataNode, leaf } from './data.ts';
import type { Reading } from './reading.ts';
import { dataValue, leafValue, sorted } from './value.ts';

/** Configuration leaves of an interface (RFC 8343 section 5). */
const LEAVES = ['name', 'description', 'type', 'enabled', 'link-up-down-trap-enable'];
/** State that RFC 8343 keeps in the same list; it is not configuration. */
const STATE = [
  'admin-status',
  'oper-status',
  'last-change',
  'if-index',
  'phys-address',
  'higher-layer-if',
  'lower-layer-if',
  'speed',
  'statistics',
];
/** Where a value with another origin stands, nobody configured it (RFC 8342 section 5.3.4). */
const CONFIGURED = [null, 'intended', 'default', 'unknown'];

/** Reads `interfaces` of ietf-interfaces with ietf-ip below it (RFC 8343, RFC 8344). */
export function readInterfaces(top: DataNode, into: Reading): void {
  for (const node of top.children) {
    const name = leaf(node, 'name');
    if (node.name !== 'interface' || name === null) {
      into.leave(node, 'This is not an interface with a name.', null, true);
      continue;
    }
    if (!CONFIGURED.includes(node.origin)) continue;
    const value: Record<string, Value> = { enabled: true };
    for (const part of node.children) {
      if (part.module === node.module && LEAVES.includes(part.name)) {
        if (part.name !== 'name' && part.name !== 'description' && part.text !== null)
          value[part.name] = leafValue(part.name, part.text);
      } else if (part.module === 'ietf-ip' && (part.name === 'ipv4' || part.name === 'ipv6')) {
        value[part.name] = protocolValue(part);
      }
    }
    const object = into.add(node, {
      kind: 'interface',
      name,
      section: 'interfaces',
      value,
      comment: leaf(node, 'description'),
    });
    for (const part of node.children) {
      if (part.module === node.module && (LEAVES.includes(part.name) || STATE.includes(part.name))) continue;
      if (part.module !== 'ietf-ip')
        into.leave(part, `The module ${part.module} is not read.`, object.id, true);
    }
  }
}

/** Addresses as `address/length`, neighbours as entered, everything else as it stands. Learned entries are state. */
function protocolValue(node: DataNode): Value {
  const configured = (list: string) =>
    childrenNamed(node, list).filter(({ origin }) => CONFIGURED.includes(origin));
  const rest = dataValue(node, ['address', 'neighbor']);
  return {
    ...(typeof rest === 'object' && rest !== null && !Array.isArray(rest) ? rest : {}),
    addresses: sorted(configured('address').map(addressText)),
    neighbors: sorted(configured('neighbor').map((n) => dataValue(n, ['origin', 'state', 'is-router']))),
  };
}

function addressText(node: DataNode): string {
  const ip = leaf(node, 'ip') ?? '';
  const address = parseAddress(ip);
  // RFC 8344 section 4: a prefix length, or (a feature, IPv4 only) a netmask.
  const length = leaf(node, 'prefix-length') ?? leaf(node, 'netmask');
  const text = address === undefined ? ip : formatAddress(address);
  return length === null ? text : `${text}/${length}`;
}
