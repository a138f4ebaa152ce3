import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  type Address,
  addressSet,
  everyAddress,
  exceptAddresses,
  exceptNumbers,
  formatAddresses,
  hasAddress,
  hasNumber,
  intersectAddresses,
  intersectNumbers,
  isEveryAddress,
  noAddress,
  numberSet,
  numbers,
  parseAddress,
  parseAddresses,
  prefixesOfRange,
  prefixLengthOf,
  rangeOfPrefix,
  uniteAddresses,
  uniteNumbers,
} from './index.ts';

/** Addresses near the places where carries and the ends of the space go wrong. */
const corners = [0, 1, 2, 3, 0x7fffffff, 0x80000000, 0xfffffffe, 0xffffffff];
const ipv4 = fc.constantFrom(...corners).map((w): Address => [w]);
const ipv6 = fc
  .tuple(fc.constantFrom(0, 0xffffffff), fc.constantFrom(...corners))
  .map(([a, b]): Address => [a, a, a, b]);

describe.each([
  [4, ipv4],
  [6, ipv6],
] as const)('IPv%i sets', (family, address) => {
  const set = fc.array(fc.tuple(address, address), { maxLength: 4 }).map((pairs) =>
    addressSet(
      family,
      pairs.map(([low, high]) => ({ low, high })),
    ),
  );

  it('unite, intersect and complement hold exactly the addresses that logic says', () => {
    fc.assert(
      fc.property(set, set, address, (a, b, x) => {
        const inA = hasAddress(a, x);
        const inB = hasAddress(b, x);
        expect(hasAddress(uniteAddresses(a, b), x)).toBe(inA || inB);
        expect(hasAddress(intersectAddresses(a, b), x)).toBe(inA && inB);
        expect(hasAddress(exceptAddresses(a), x)).toBe(!inA);
      }),
    );
  });

  it('have one form: twice the complement is the set, and a set with its complement is everything', () => {
    fc.assert(
      fc.property(set, (a) => {
        expect(exceptAddresses(exceptAddresses(a))).toEqual(a);
        expect(isEveryAddress(uniteAddresses(a, exceptAddresses(a)))).toBe(true);
        expect(intersectAddresses(a, exceptAddresses(a))).toEqual(noAddress(family));
      }),
    );
  });

  it('read back from their texts', () => {
    fc.assert(
      fc.property(set, (a) => {
        const read = formatAddresses(a).map((text) => parseAddresses(text)!);
        expect(read.reduce(uniteAddresses, noAddress(family))).toEqual(a);
      }),
    );
  });

  it('split into prefixes that hold the same addresses', () => {
    fc.assert(
      fc.property(set, (a) => {
        for (const range of a.ranges) {
          const parts = prefixesOfRange(range).map((p) => rangeOfPrefix(p.address, p.length));
          expect(addressSet(family, parts).ranges).toEqual([range]);
          expect(prefixLengthOf(range) !== undefined).toBe(parts.length === 1);
        }
      }),
    );
  });
});

describe('prefixes', () => {
  it('reads addresses, prefixes, netmasks and ranges', () => {
    const texts = [
      '192.0.2.1',
      '10.1.2.3/8',
      '10.0.0.0/255.0.0.0',
      '10.0.0.4-10.0.0.9',
      '2001:db8::/32',
      '0.0.0.0/0',
    ];
    expect(texts.map((t) => formatAddresses(parseAddresses(t)!).join())).toEqual([
      '192.0.2.1',
      '10.0.0.0/8',
      '10.0.0.0/8',
      '10.0.0.4-10.0.0.9',
      '2001:db8::/32',
      '0.0.0.0/0',
    ]);
  });

  it.each([
    '10.0.0.0/33',
    '::/129',
    '10.0.0.0/255.0.255.0',
    '10.0.0.9-10.0.0.4',
    '10.0.0.1-::1',
    '10.0.0.0/',
    'any',
    '/8',
  ])('%j is no set of addresses', (text) => {
    expect(parseAddresses(text)).toBeUndefined();
  });

  // The worst case of a range in prefixes is 2w-2 of them (Gupta and McKeown, "Algorithms for packet
  // classification", IEEE Network 2001: a range of w bits may need 2w-2 prefixes).
  it('needs 62 prefixes for all of IPv4 but its first and last address', () => {
    expect(
      prefixesOfRange({ low: parseAddress('0.0.0.1')!, high: parseAddress('255.255.255.254')! }),
    ).toHaveLength(62);
  });

  // RFC 1918 section 3 gives each private block as a range and as a prefix.
  it.each([
    ['10.0.0.0', '10.255.255.255', '10.0.0.0/8'],
    ['172.16.0.0', '172.31.255.255', '172.16.0.0/12'],
    ['192.168.0.0', '192.168.255.255', '192.168.0.0/16'],
  ])('%s to %s is %s', (low, high, prefix) => {
    expect(formatAddresses(parseAddresses(`${low}-${high}`)!)).toEqual([prefix]);
    expect(everyAddress(4).ranges).toHaveLength(1);
  });
});

describe('number sets', () => {
  const set = fc.array(fc.tuple(fc.nat(9), fc.nat(9)), { maxLength: 4 }).map(numberSet);

  it('hold exactly the numbers that logic says, in one form', () => {
    fc.assert(
      fc.property(set, set, (a, b) => {
        for (let x = 0; x <= 9; x++) {
          expect(hasNumber(uniteNumbers(a, b), x)).toBe(hasNumber(a, x) || hasNumber(b, x));
          expect(hasNumber(intersectNumbers(a, b), x)).toBe(hasNumber(a, x) && hasNumber(b, x));
          expect(hasNumber(exceptNumbers(a, 9), x)).toBe(!hasNumber(a, x));
        }
        expect(exceptNumbers(exceptNumbers(a, 9), 9)).toEqual(a);
      }),
    );
    expect(numbers(3, 1, 2, 7)).toEqual([1, 3, 7, 7]);
  });
});
