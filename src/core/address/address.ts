/** IP version: 4 or 6. */
export type Family = 4 | 6;

/**
 * An IP address as unsigned 32-bit words, most significant first: one word for IPv4, four for IPv6.
 * Words keep IPv6 comparisons in ordinary numbers; BigInt is far too slow for the traffic difference.
 */
export type Address = readonly number[];

/** How many 32-bit words an address of this family has. */
export function wordsOf(family: Family): 1 | 4 {
  return family === 4 ? 1 : 4;
}

/** Order of two addresses of the same family: negative, zero or positive. */
export function compareAddresses(a: Address, b: Address): number {
  for (let i = 0; i < a.length; i++) {
    const difference = a[i]! - b[i]!;
    if (difference !== 0) return difference;
  }
  return 0;
}

/** The lowest address of the family: 0.0.0.0 or ::. */
export function lowestAddress(family: Family): Address {
  return family === 4 ? [0] : [0, 0, 0, 0];
}

/** The highest address of the family. */
export function highestAddress(family: Family): Address {
  const top = 0xffff_ffff;
  return family === 4 ? [top] : [top, top, top, top];
}

/** The address after this one, or undefined after the highest. */
export function nextAddress(address: Address): Address | undefined {
  const next = [...address];
  for (let i = next.length - 1; i >= 0; i--) {
    if (next[i]! < 0xffff_ffff) {
      next[i]! += 1;
      return next;
    }
    next[i] = 0;
  }
  return undefined;
}

/** The address before this one, or undefined before the lowest. */
export function previousAddress(address: Address): Address | undefined {
  const previous = [...address];
  for (let i = previous.length - 1; i >= 0; i--) {
    if (previous[i]! > 0) {
      previous[i]! -= 1;
      return previous;
    }
    previous[i] = 0xffff_ffff;
  }
  return undefined;
}
