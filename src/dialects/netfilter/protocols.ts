/** Names of IP protocols: IANA Assigned Internet Protocol Numbers, as a Linux machine's protocols file has them. */
const PROTOCOLS: ReadonlyMap<string, number> = new Map([
  ['ip', 0],
  ['hopopt', 0],
  ['icmp', 1],
  ['igmp', 2],
  ['ggp', 3],
  ['ipencap', 4],
  ['st', 5],
  ['tcp', 6],
  ['egp', 8],
  ['igp', 9],
  ['pup', 12],
  ['udp', 17],
  ['hmp', 20],
  ['xns-idp', 22],
  ['rdp', 27],
  ['iso-tp4', 29],
  ['dccp', 33],
  ['xtp', 36],
  ['ddp', 37],
  ['idpr-cmtp', 38],
  ['ipv6', 41],
  ['ipv6-route', 43],
  ['ipv6-frag', 44],
  ['idrp', 45],
  ['rsvp', 46],
  ['gre', 47],
  ['esp', 50],
  ['ipsec-esp', 50],
  ['ah', 51],
  ['ipsec-ah', 51],
  ['skip', 57],
  ['ipv6-icmp', 58],
  ['icmpv6', 58],
  ['icmp6', 58],
  ['ipv6-nonxt', 59],
  ['ipv6-opts', 60],
  ['rspf', 73],
  ['vmtp', 81],
  ['eigrp', 88],
  ['ospf', 89],
  ['ospfigp', 89],
  ['ipip', 94],
  ['etherip', 97],
  ['encap', 98],
  ['pim', 103],
  ['comp', 108],
  ['ipcomp', 108],
  ['vrrp', 112],
  ['l2tp', 115],
  ['isis', 124],
  ['sctp', 132],
  ['fc', 133],
  ['mobility-header', 135],
  ['ipv6-mh', 135],
  ['udplite', 136],
  ['mpls-in-ip', 137],
  ['manet', 138],
  ['hip', 139],
  ['shim6', 140],
  ['wesp', 141],
  ['rohc', 142],
]);

/** The number of a protocol given by name or number, or undefined. */
export function protocolOf(name: string): number | undefined {
  return PROTOCOLS.get(name.toLowerCase());
}

/** ICMP types: IANA ICMP Parameters (RFC 792, RFC 1256, RFC 950), under the names of nft(8). */
const ICMP_TYPES: Readonly<Record<string, number>> = {
  'echo-reply': 0,
  'destination-unreachable': 3,
  'source-quench': 4,
  redirect: 5,
  'echo-request': 8,
  'router-advertisement': 9,
  'router-solicitation': 10,
  'time-exceeded': 11,
  'parameter-problem': 12,
  'timestamp-request': 13,
  'timestamp-reply': 14,
  'info-request': 15,
  'info-reply': 16,
  'address-mask-request': 17,
  'address-mask-reply': 18,
};

/** ICMPv6 types: IANA ICMPv6 Parameters (RFC 4443, RFC 4861, RFC 2710, RFC 3810), under the names of nft(8). */
const ICMPV6_TYPES: Readonly<Record<string, number>> = {
  'destination-unreachable': 1,
  'packet-too-big': 2,
  'time-exceeded': 3,
  'parameter-problem': 4,
  'echo-request': 128,
  'echo-reply': 129,
  'mld-listener-query': 130,
  'mld-listener-report': 131,
  'mld-listener-done': 132,
  'mld-listener-reduction': 132,
  'nd-router-solicit': 133,
  'nd-router-advert': 134,
  'nd-neighbor-solicit': 135,
  'nd-neighbor-advert': 136,
  'nd-redirect': 137,
  'router-renumbering': 138,
  'ind-neighbor-solicit': 141,
  'ind-neighbor-advert': 142,
  'mld2-listener-report': 143,
};

const ICMP_CODES: Readonly<Record<string, number>> = {
  'net-unreachable': 0,
  'host-unreachable': 1,
  'prot-unreachable': 2,
  'port-unreachable': 3,
  'frag-needed': 4,
  'net-prohibited': 9,
  'host-prohibited': 10,
  'admin-prohibited': 13,
};

const ICMPV6_CODES: Readonly<Record<string, number>> = {
  'no-route': 0,
  'admin-prohibited': 1,
  'addr-unreachable': 3,
  'port-unreachable': 4,
  'policy-fail': 5,
  'reject-route': 6,
};

/** The number of a named ICMP type or code, or undefined. */
export function icmpNumberOf(field: string, name: string): number | undefined {
  switch (field) {
    case 'icmp type':
      return ICMP_TYPES[name];
    case 'icmpv6 type':
      return ICMPV6_TYPES[name];
    case 'icmp code':
      return ICMP_CODES[name];
    default:
      return ICMPV6_CODES[name];
  }
}
