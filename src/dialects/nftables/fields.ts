/**
 * The properties of packets and connections that rules may name, by their first word. Names as in the language's
 * manual (nft(8), PAYLOAD EXPRESSIONS, META EXPRESSIONS, CONNTRACK EXPRESSIONS and the following sections).
 */
const HEADERS: Readonly<Record<string, string>> = {
  ether: 'daddr saddr type',
  vlan: 'id dei cfi pcp type',
  arp: 'htype ptype hlen plen operation',
  ip: 'version hdrlength dscp ecn length id frag-off ttl protocol checksum saddr daddr',
  ip6: 'version dscp ecn flowlabel length nexthdr hoplimit saddr daddr',
  icmp: 'type code checksum id sequence gateway mtu',
  icmpv6: 'type code checksum parameter-problem packet-too-big id sequence max-delay taddr daddr mtu',
  igmp: 'type mrt checksum group',
  tcp: 'sport dport sequence ackseq doff reserved flags window checksum urgptr',
  udp: 'sport dport length checksum',
  udplite: 'sport dport csumcov cscov checksum',
  sctp: 'sport dport vtag checksum',
  dccp: 'sport dport type',
  th: 'sport dport',
  ah: 'nexthdr hdrlength reserved spi sequence',
  esp: 'spi sequence',
  comp: 'nexthdr flags cpi',
  gre: 'flags version protocol',
  meta:
    'length nfproto l4proto protocol priority mark iif iifname iiftype iifkind iifgroup oif oifname oiftype oifkind ' +
    'oifgroup skuid skgid nftrace rtclassid ibriport obriport ibridgename obridgename ibrname obrname ibrvproto ' +
    'ibrpvid pkttype cpu cgroup random ipsec secpath time day hour sdif sdifname broute secmark',
  ct:
    'state direction status mark expiration helper label l3proto protocol saddr daddr proto-src proto-dst bytes ' +
    'packets avgpkt zone id secmark',
  rt: 'classid nexthop mtu ipsec nexthdr hdrlength type seg-left',
  socket: 'transparent mark wildcard',
  osf: 'name version',
  rt0: 'addr',
  mh: 'nexthdr hdrlength type reserved checksum',
  frag: 'nexthdr reserved frag-off more-fragments reserved2 id',
  hbh: 'nexthdr hdrlength',
  dst: 'nexthdr hdrlength',
  srh: 'nexthdr hdrlength seg-left flags tag sid last-entry',
};

/** Headers with the names of their fields. */
export const HEADER_FIELDS: readonly (readonly [string, readonly string[]])[] = Object.entries(HEADERS).map(
  ([header, names]) => [header, names.split(' ')],
);

const FIELDS: ReadonlyMap<string, ReadonlySet<string>> = new Map(
  HEADER_FIELDS.map(([header, names]) => [header, new Set(names)]),
);

/** `meta` keys that may stand without the word `meta`. */
const BARE_META: ReadonlySet<string> = new Set(
  (
    'mark iif iifname iiftype iifgroup oif oifname oiftype oifgroup skuid skgid nftrace rtclassid ibriport obriport ' +
    'ibridgename obridgename ibrname obrname pkttype cpu cgroup time day hour'
  ).split(' '),
);

export function isHeader(word: string): boolean {
  return FIELDS.has(word);
}

export function isField(header: string, name: string): boolean {
  return FIELDS.get(header)?.has(name) ?? false;
}

export function isBareMeta(word: string): boolean {
  return BARE_META.has(word);
}
