import type { Address, Family } from './address.ts';

/** The family an address value belongs to: one word is IPv4, four are IPv6. */
export function familyOf(address: Address): Family {
  return address.length === 1 ? 4 : 6;
}

/**
 * Reads an IPv4 address in dotted decimal or an IPv6 address in any form of RFC 4291 section 2.2.
 * Returns undefined for anything else: short forms such as `10.1`, octets with leading zeros (read as octal by
 * some programs), zone indexes (RFC 4007), brackets and surrounding blanks.
 */
export function parseAddress(text: string): Address | undefined {
  if (text.includes(':')) return parseIpv6(text);
  const word = parseIpv4(text);
  return word === undefined ? undefined : [word];
}

const ZERO = 48;
const DOT = 46 - ZERO;
const COLON = 58;

function parseIpv4(text: string): number | undefined {
  let word = 0;
  let octets = 0;
  let octet = -1;
  for (let i = 0; i <= text.length; i++) {
    const digit = text.charCodeAt(i) - ZERO;
    if (digit >= 0 && digit <= 9) {
      // No octet is written with a zero in front: programs read such octets as octal or as decimal.
      if (octet === 0) return undefined;
      octet = octet < 0 ? digit : octet * 10 + digit;
      if (octet > 255) return undefined;
    } else if (octet >= 0 && (i === text.length || digit === DOT)) {
      word = word * 256 + octet;
      octets++;
      octet = -1;
    } else return undefined;
  }
  return octets === 4 ? word : undefined;
}

function parseIpv6(text: string): Address | undefined {
  const gap = text.indexOf('::');
  const groups: number[] = [];
  if (gap < 0)
    return readGroups(text, 0, text.length, groups) && groups.length === 8 ? wordsFrom(groups) : undefined;
  if (text.includes('::', gap + 1)) return undefined;
  if (!readGroups(text, 0, gap, groups)) return undefined;
  const before = groups.length;
  if (!readGroups(text, gap + 2, text.length, groups)) return undefined;
  // "::" stands for one or more groups of zeros (RFC 4291 section 2.2, form 2).
  const missing = 8 - groups.length;
  if (missing < 1) return undefined;
  groups.length = 8;
  groups.copyWithin(before + missing, before, 8 - missing).fill(0, before, before + missing);
  return wordsFrom(groups);
}

const wordsFrom = (groups: readonly number[]): Address => [
  groups[0]! * 0x1_0000 + groups[1]!,
  groups[2]! * 0x1_0000 + groups[3]!,
  groups[4]! * 0x1_0000 + groups[5]!,
  groups[6]! * 0x1_0000 + groups[7]!,
];

/**
 * Adds the 16-bit groups of one side of `::`; the last may be dotted decimal when this side ends the address. False
 * for anything else.
 */
function readGroups(text: string, start: number, end: number, groups: number[]): boolean {
  if (start === end) return true;
  let group = -1;
  let from = start;
  for (let at = start; at <= end; at++) {
    const code = at === end ? COLON : text.charCodeAt(at);
    if (code === COLON) {
      if (group < 0 || at - from > 4 || groups.length === 8) return false;
      groups.push(group);
      group = -1;
      from = at + 1;
      continue;
    }
    const digit = hexadecimal(code);
    if (digit < 0) return code === DOT + ZERO && end === text.length && readDotted(text.slice(from), groups);
    if (at - from < 4) group = group < 0 ? digit : group * 16 + digit;
  }
  return true;
}

function readDotted(text: string, groups: number[]): boolean {
  const word = parseIpv4(text);
  if (word === undefined) return false;
  groups.push(Math.floor(word / 0x1_0000), word % 0x1_0000);
  return groups.length <= 8;
}

function hexadecimal(code: number): number {
  if (code >= 48 && code <= 57) return code - 48;
  const lower = code | 32;
  return lower >= 97 && lower <= 102 ? lower - 87 : -1;
}

/**
 * Dotted decimal, or the one recommended form of RFC 5952: lower case, no leading zeros, `::` for the longest
 * run of at least two zero groups (the first of equals), dotted decimal for IPv4-mapped addresses (section 5).
 */
export function formatAddress(address: Address): string {
  if (address.length === 1) return formatIpv4(address[0]!);
  if (address[0] === 0 && address[1] === 0 && address[2] === 0xffff)
    return `::ffff:${formatIpv4(address[3]!)}`;
  const groups = address.flatMap((word) => [Math.floor(word / 0x1_0000), word % 0x1_0000]);
  let start = -1;
  let length = 1;
  for (let i = 0; i < 8; i++) {
    let end = i;
    while (end < 8 && groups[end] === 0) end++;
    if (end - i > length) {
      start = i;
      length = end - i;
    }
    i = Math.max(i, end - 1);
  }
  const text = (from: number, to: number) =>
    groups
      .slice(from, to)
      .map((g) => g.toString(16))
      .join(':');
  return start < 0 ? text(0, 8) : `${text(0, start)}::${text(start + length, 8)}`;
}

function formatIpv4(word: number): string {
  return [word >>> 24, (word >>> 16) & 255, (word >>> 8) & 255, word & 255].join('.');
}
