import type { Family } from '#core/address';
import { icmpProtocol } from './packet.ts';

/** Protocol names as the IANA "Assigned Internet Protocol Numbers" registry and /etc/protocols spell them, lower case. */
const PROTOCOLS: Readonly<Record<number, string>> = {
  1: 'icmp',
  2: 'igmp',
  4: 'ipencap',
  6: 'tcp',
  17: 'udp',
  33: 'dccp',
  41: 'ipv6',
  47: 'gre',
  50: 'esp',
  51: 'ah',
  58: 'icmpv6',
  89: 'ospf',
  94: 'ipip',
  103: 'pim',
  112: 'vrrp',
  115: 'l2tp',
  132: 'sctp',
  136: 'udplite',
};

/** ICMP types (RFC 792, RFC 1256) by the names that nft(8) uses. */
const ICMP_TYPES: Readonly<Record<number, string>> = {
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
};

/** ICMPv6 types (RFC 4443, RFC 2710, RFC 4861, RFC 3810) by the names that nft(8) uses. */
const ICMPV6_TYPES: Readonly<Record<number, string>> = {
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

/** A protocol's name, or its number. */
export function protocolText(protocol: number): string {
  return PROTOCOLS[protocol] ?? String(protocol);
}

/** The number of a protocol given by name or number; undefined when it is neither. */
export function protocolNumber(text: string): number | undefined {
  if (/^\d{1,3}$/.test(text)) return Number(text) <= 255 ? Number(text) : undefined;
  const aliases: Record<string, number> = { 'ipv6-icmp': 58, 'icmp-v6': 58, icmp6: 58 };
  const found = Object.entries(PROTOCOLS).find(([, name]) => name === text.toLowerCase());
  return found === undefined ? aliases[text.toLowerCase()] : Number(found[0]);
}

/** An ICMP type's name, or its number. */
export function icmpTypeText(type: number, family: Family): string {
  return (icmpProtocol(family) === 1 ? ICMP_TYPES : ICMPV6_TYPES)[type] ?? `type ${type}`;
}

/** The number of an ICMP type given by name or number; undefined when it is neither. */
export function icmpTypeNumber(text: string, family: Family): number | undefined {
  if (/^\d{1,3}$/.test(text)) return Number(text) <= 255 ? Number(text) : undefined;
  const types = family === 4 ? ICMP_TYPES : ICMPV6_TYPES;
  const found = Object.entries(types).find(([, name]) => name === text.toLowerCase());
  return found === undefined ? undefined : Number(found[0]);
}
