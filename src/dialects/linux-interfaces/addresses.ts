import { formatAddress, parseAddress, parseAddresses, prefixLengthOf } from '#core/address';

/**
 * An interface address as `address/length` in canonical form, from `address` and `netmask` of ifupdown. Without a
 * netmask an IPv4 address has the length of its class, an IPv6 address is a host's (as `ifup --no-act` of ifupdown 0.8.41
 * shows).
 * Null when it is not an address.
 */
export function withLength(text: string, netmask: string | undefined): string | null {
  const [base, given = netmask] = text.split('/');
  const address = parseAddress(base!);
  if (address === undefined) return null;
  const [word] = address;
  const usual = address.length === 4 ? 128 : word! >>> 31 === 0 ? 8 : word! >>> 30 === 2 ? 16 : 24;
  const length = given === undefined ? usual : lengthOf(given, address.length * 32);
  return length === null ? null : `${formatAddress(address)}/${length}`;
}

function lengthOf(netmask: string, bits: number): number | null {
  if (/^\d{1,3}$/.test(netmask)) return Number(netmask) <= bits ? Number(netmask) : null;
  const set = parseAddresses(`0.0.0.0/${netmask}`);
  return set === undefined ? null : (prefixLengthOf(set.ranges[0]!) ?? null);
}

/** A prefix in canonical form, or the text itself when it is none. `default` is every address. */
export function prefixText(text: string, family: 4 | 6 = 4): string {
  if (text === 'default') return family === 4 ? '0.0.0.0/0' : '::/0';
  const [base, length] = text.split('/');
  const address = parseAddress(base!);
  if (address === undefined) return text;
  const set = parseAddresses(text);
  return set === undefined ? text : `${formatAddress(set.ranges[0]!.low)}/${length ?? address.length * 32}`;
}

/** The family of an address or prefix text; undefined when it is neither. */
export function familyOfText(text: string): 4 | 6 | undefined {
  const address = parseAddress(text.split('/')[0]!);
  return address === undefined ? undefined : address.length === 1 ? 4 : 6;
}
