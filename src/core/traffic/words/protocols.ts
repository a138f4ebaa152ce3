/** IP protocols by their keyword (IANA protocol numbers), lower case as rule languages write them. */
const PROTOCOLS: Readonly<Record<number, string>> = {
  1: 'icmp',
  2: 'igmp',
  4: 'ipv4',
  6: 'tcp',
  17: 'udp',
  33: 'dccp',
  41: 'ipv6',
  46: 'rsvp',
  47: 'gre',
  50: 'esp',
  51: 'ah',
  58: 'ipv6-icmp',
  89: 'ospf',
  94: 'ipip',
  103: 'pim',
  108: 'ipcomp',
  112: 'vrrp',
  115: 'l2tp',
  132: 'sctp',
  136: 'udplite',
};

/** ICMP types (IANA ICMP parameters; RFC 792). */
const ICMP: Readonly<Record<number, string>> = {
  0: 'echo-reply',
  3: 'destination-unreachable',
  4: 'source-quench',
  5: 'redirect',
  8: 'echo-request',
  9: 'router-advertisement',
  10: 'router-solicitation',
  11: 'time-exceeded',
  12: 'parameter-problem',
  13: 'timestamp-request',
  14: 'timestamp-reply',
  15: 'info-request',
  16: 'info-reply',
  17: 'address-mask-request',
  18: 'address-mask-reply',
};

/** ICMPv6 types (IANA ICMPv6 parameters; RFC 4443, RFC 4861, RFC 2710, RFC 3810). */
const ICMPV6: Readonly<Record<number, string>> = {
  1: 'destination-unreachable',
  2: 'packet-too-big',
  3: 'time-exceeded',
  4: 'parameter-problem',
  128: 'echo-request',
  129: 'echo-reply',
  130: 'mld-listener-query',
  131: 'mld-listener-report',
  132: 'mld-listener-done',
  133: 'nd-router-solicit',
  134: 'nd-router-advert',
  135: 'nd-neighbor-solicit',
  136: 'nd-neighbor-advert',
  137: 'nd-redirect',
  143: 'mld2-listener-report',
};

export function protocolWord(protocol: number): string {
  return PROTOCOLS[protocol] ?? String(protocol);
}

/** The protocol a word or a number means; undefined for none. */
export function protocolOf(word: string): number | undefined {
  if (/^\d{1,3}$/.test(word) && Number(word) <= 255) return Number(word);
  const lower = word.toLowerCase();
  if (lower === 'icmpv6') return 58;
  const found = Object.entries(PROTOCOLS).find(([, name]) => name === lower);
  return found === undefined ? undefined : Number(found[0]);
}

export function icmpWord(type: number, family: 4 | 6): string {
  return (family === 4 ? ICMP : ICMPV6)[type] ?? `type ${type}`;
}

/** The ICMP type a word or a number means; undefined for none. */
export function icmpTypeOf(word: string, family: 4 | 6): number | undefined {
  if (/^\d{1,3}$/.test(word) && Number(word) <= 255) return Number(word);
  const found = Object.entries(family === 4 ? ICMP : ICMPV6).find(([, name]) => name === word.toLowerCase());
  return found === undefined ? undefined : Number(found[0]);
}
