import { type AddressSet, type Family, parseAddresses } from '#core/address';

/** A block of the special-purpose address registries. */
export interface SpecialBlock {
  readonly text: string;
  readonly name: string;
  /** The document that assigns it. */
  readonly assignedBy: string;
  readonly addresses: AddressSet;
  /** Whether a packet may carry it as its source at all. */
  readonly source: boolean;
  /** Whether it may travel beyond its administrative domain. */
  readonly global: boolean;
}

/**
 * RFC 6890 section 2.2.2 (tables 1 to 16) and section 2.2.3 (tables 17 to 29): block, name, assigning document, and the
 * columns Source and Global. 6to4 (table 27) has "N/A" under Global and counts as not global.
 */
const TABLES: readonly (readonly [string, string, string, boolean, boolean])[] = [
  ['0.0.0.0/8', 'This host on this network', 'RFC 1122, Section 3.2.1.3', true, false],
  ['10.0.0.0/8', 'Private-Use', 'RFC 1918', true, false],
  ['100.64.0.0/10', 'Shared Address Space', 'RFC 6598', true, false],
  ['127.0.0.0/8', 'Loopback', 'RFC 1122, Section 3.2.1.3', false, false],
  ['169.254.0.0/16', 'Link Local', 'RFC 3927', true, false],
  ['172.16.0.0/12', 'Private-Use', 'RFC 1918', true, false],
  ['192.0.0.0/24', 'IETF Protocol Assignments', 'RFC 6890, Section 2.1', false, false],
  ['192.0.0.0/29', 'DS-Lite', 'RFC 6333', true, false],
  ['192.0.2.0/24', 'Documentation (TEST-NET-1)', 'RFC 5737', false, false],
  ['192.88.99.0/24', '6to4 Relay Anycast', 'RFC 3068', true, true],
  ['192.168.0.0/16', 'Private-Use', 'RFC 1918', true, false],
  ['198.18.0.0/15', 'Benchmarking', 'RFC 2544', true, false],
  ['198.51.100.0/24', 'Documentation (TEST-NET-2)', 'RFC 5737', false, false],
  ['203.0.113.0/24', 'Documentation (TEST-NET-3)', 'RFC 5737', false, false],
  ['240.0.0.0/4', 'Reserved', 'RFC 1112, Section 4', false, false],
  ['255.255.255.255/32', 'Limited Broadcast', 'RFC 919, Section 7', false, false],
  ['::1/128', 'Loopback Address', 'RFC 4291', false, false],
  ['::/128', 'Unspecified Address', 'RFC 4291', true, false],
  ['64:ff9b::/96', 'IPv4-IPv6 Translation', 'RFC 6052', true, true],
  ['::ffff:0:0/96', 'IPv4-mapped Address', 'RFC 4291', false, false],
  ['100::/64', 'Discard-Only Address Block', 'RFC 6666', true, false],
  ['2001::/23', 'IETF Protocol Assignments', 'RFC 2928', false, false],
  ['2001::/32', 'TEREDO', 'RFC 4380', true, false],
  ['2001:2::/48', 'Benchmarking', 'RFC 5180', true, false],
  ['2001:db8::/32', 'Documentation', 'RFC 3849', false, false],
  ['2001:10::/28', 'ORCHID', 'RFC 4843', false, false],
  ['2002::/16', '6to4', 'RFC 3056', true, false],
  ['fc00::/7', 'Unique-Local', 'RFC 4193', true, false],
  ['fe80::/10', 'Linked-Scoped Unicast', 'RFC 4291', true, false],
];

/** The special-purpose blocks of one family. */
export function specialBlocks(family: Family): SpecialBlock[] {
  return TABLES.map(([text, name, assignedBy, source, global]) => ({
    text,
    name,
    assignedBy,
    addresses: parseAddresses(text)!,
    source,
    global,
  })).filter((block) => block.addresses.family === family);
}
