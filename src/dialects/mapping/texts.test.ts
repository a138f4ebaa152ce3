import { describe, expect, test } from 'vitest';
import { formatAddresses } from '#core/address';
import { readMapping } from './mapping-file.ts';
import { type AddressFormat, addressesOf, inEntries, listedIn, portsOf, protocolOf } from './texts.ts';

const { words } = readMapping({
  name: 'm',
  text: 'mapping: 1\nname: m\nformat: ini\nwords: {ports: {www: 80}, protocols: {tide: 99}}\n',
});
const addresses = (text: string, format?: AddressFormat) => {
  const set = addressesOf(text, format);
  return set === undefined ? undefined : formatAddresses(set);
};

describe('a list', () => {
  test.each<[string, boolean, string[]]>([
    ['quay mole', false, ['quay', 'mole']],
    ['not quay mole', true, ['quay', 'mole']],
    ['! quay mole', true, ['quay', 'mole']],
    ['!quay !mole', true, ['quay', 'mole']],
    ['notary', false, ['notary']],
    ['not', true, []],
    ['', false, []],
  ])('of %j', (text, negated, entries) => {
    expect(listedIn(text.split(' ').filter(Boolean), words)).toEqual({ negated, entries });
  });
  test.each(['quay not mole', 'quay !mole', '!quay mole', '!quay !', 'not !quay', 'not not quay'])(
    'of %j may mean several things',
    (text) => {
      expect(listedIn(text.split(' '), words)).toBeUndefined();
    },
  );
  test('of one address in two words may have its sign in front', () => {
    const list = (text: string) => listedIn(text.split(' '), words, 'a.b.c.d mask');
    expect(list('!10.1.0.0 255.255.0.0')).toEqual({ negated: true, entries: ['10.1.0.0 255.255.0.0'] });
    expect(list('!10.1.0.0 255.255.0.0 10.2.0.0 255.255.0.0')).toBeUndefined();
  });
});

describe('addresses', () => {
  test.each<[AddressFormat | undefined, string, string[] | undefined]>([
    [undefined, '10.1.0.0/16', ['10.1.0.0/16']],
    [undefined, '10.1.0.4-10.1.0.9', ['10.1.0.4-10.1.0.9']],
    [undefined, '2001:DB8::/32', ['2001:db8::/32']],
    [undefined, 'quay', undefined],
    ['address', '10.1.0.0/16', undefined],
    ['a.b.c.d/len', '10.1.0.0/255.255.0.0', undefined],
    ['a.b.c.d/mask', '10.1.0.0/255.255.0.0', ['10.1.0.0/16']],
    ['a.b.c.d mask', '10.1.0.0 255.255.0.0', ['10.1.0.0/16']],
    ['a.b.c.d wildcard', '10.1.0.0 0.0.255.255', ['10.1.0.0/16']],
    ['a.b.c.d wildcard', '10.1.0.7 0.0.0.0', ['10.1.0.7']],
    ['a.b.c.d wildcard', '0.0.0.0 255.255.255.255', ['0.0.0.0/0']],
    // Not contiguous: such a mask is no prefix.
    ['a.b.c.d wildcard', '10.1.0.0 0.255.0.255', undefined],
    ['low-high', '10.1.0.0/16', undefined],
    ['name', '10.1.0.1', undefined],
  ])('as %s: %s is %j', (format, text, expected) => {
    expect(addresses(text, format)).toEqual(expected);
  });
  test('of two words are taken in pairs, words for any and names alone', () => {
    expect(
      inEntries(['10.1.0.0', '255.255.0.0', 'any', 'quay', '10.2.0.0', '255.255.0.0'], 'a.b.c.d mask'),
    ).toEqual(['10.1.0.0 255.255.0.0', 'any', 'quay', '10.2.0.0 255.255.0.0']);
  });
});

test.each<[string, number | undefined]>([
  // IANA protocol numbers.
  ['tcp', 6],
  ['UDP', 17],
  ['icmp', 1],
  ['ipv6-icmp', 58],
  ['gre', 47],
  ['esp', 50],
  ['ospf', 89],
  ['sctp', 132],
  ['47', 47],
  // Words of the mapping, and what is none.
  ['tide', 99],
  ['256', undefined],
  ['constructor', undefined],
  ['', undefined],
])('protocol %j is %j', (text, number) => {
  expect(protocolOf(text, words)).toBe(number);
});

test.each<[string, readonly number[] | undefined]>([
  ['443', [443, 443]],
  ['1024-65535', [1024, 65535]],
  ['20:21', [20, 21]],
  ['www', [80, 80]],
  ['0', [0, 0]],
  ['65536', undefined],
  ['9-8', undefined],
  ['1-2-3', undefined],
  ['-', undefined],
  ['constructor', undefined],
])('ports %j are %j', (text, ports) => {
  expect(portsOf(text, words)).toEqual(ports);
});
