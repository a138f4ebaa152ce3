import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { formatAddress, parseAddress } from './index.ts';

const canonical = (text: string) => {
  const address = parseAddress(text);
  return address === undefined ? undefined : formatAddress(address);
};

describe('IPv6 text', () => {
  // RFC 4291 section 2.2: the long form and the compressed form of the same address.
  it.each([
    ['2001:DB8:0:0:8:800:200C:417A', '2001:DB8::8:800:200C:417A'],
    ['FF01:0:0:0:0:0:0:101', 'FF01::101'],
    ['0:0:0:0:0:0:0:1', '::1'],
    ['0:0:0:0:0:0:0:0', '::'],
    ['0:0:0:0:0:0:13.1.68.3', '::13.1.68.3'],
    ['0:0:0:0:0:FFFF:129.144.52.38', '::FFFF:129.144.52.38'],
  ])('%s is %s', (long, short) => {
    expect(parseAddress(long)).toBeDefined();
    expect(parseAddress(long)).toEqual(parseAddress(short));
  });

  // RFC 5952 sections 1, 2 and 4: every spelling listed there has one recommended form.
  it.each([
    ['2001:db8:0:0:1:0:0:1', '2001:db8::1:0:0:1'],
    ['2001:0db8:0:0:1:0:0:1', '2001:db8::1:0:0:1'],
    ['2001:db8::1:0:0:1', '2001:db8::1:0:0:1'],
    ['2001:db8::0:1:0:0:1', '2001:db8::1:0:0:1'],
    ['2001:0db8::1:0:0:1', '2001:db8::1:0:0:1'],
    ['2001:db8:0:0:1::1', '2001:db8::1:0:0:1'],
    ['2001:DB8:0:0:1::1', '2001:db8::1:0:0:1'],
    ['2001:db8:aaaa:bbbb:cccc:dddd:eeee:0001', '2001:db8:aaaa:bbbb:cccc:dddd:eeee:1'],
    ['2001:db8:aaaa:bbbb:cccc:dddd:0:1', '2001:db8:aaaa:bbbb:cccc:dddd:0:1'], // 4.2.2: one group is not shortened
    ['2001:db8::1:1:1:1:1', '2001:db8:0:1:1:1:1:1'],
    ['2001:0:0:1:0:0:0:1', '2001:0:0:1::1'], // 4.2.3: the longest run
    ['2001:db8:0:0:0:0:2:1', '2001:db8::2:1'],
    ['::ffff:192.0.2.1', '::ffff:192.0.2.1'], // section 5
  ])('%s is written %s', (text, recommended) => {
    expect(canonical(text)).toBe(recommended);
  });

  it.each([
    '2001:db8:::1',
    '1:2:3:4:5:6:7',
    '1:2:3:4:5:6:7:8:9',
    '::1::',
    '1:2:3:4:5:6:7::8',
    '12345::',
    'g::1',
    'fe80::1%eth0',
    '[::1]',
    ':1:2:3:4:5:6:7',
    '::256.0.0.1',
    '1.2.3.4::',
    '',
    ':',
    ' ::1',
  ])('%j is no address', (text) => {
    expect(parseAddress(text)).toBeUndefined();
  });
});

describe('IPv4 text', () => {
  it.each(['0.0.0.0', '10.1.2.3', '255.255.255.255', '192.0.2.1'])('%s reads and writes back', (text) => {
    expect(canonical(text)).toBe(text);
  });

  it.each(['10.1', '1.2.3', '1.2.3.4.5', '256.0.0.1', '01.2.3.4', '1.2.3.-4', '1.2.3.4 ', '0x7f.0.0.1'])(
    '%j is no address',
    (text) => {
      expect(parseAddress(text)).toBeUndefined();
    },
  );
});

describe('the platform agrees', () => {
  const word = fc.oneof(fc.constantFrom(0, 1, 0xffff, 0x10000, 0xffffffff), fc.nat({ max: 0xffffffff }));

  // The WHATWG URL standard serialises IPv6 hosts in the RFC 5952 form, except for dotted decimal.
  it('on the written form of IPv6 addresses that are not IPv4-mapped', () => {
    fc.assert(
      fc.property(fc.tuple(word, word, word, word), (address) => {
        fc.pre(!(address[0] === 0 && address[1] === 0 && address[2] === 0xffff));
        const text = formatAddress(address);
        expect(new URL(`http://[${text}]/`).hostname).toBe(`[${text}]`);
        expect(parseAddress(text)).toEqual(address);
      }),
    );
  });

  it('on IPv4', () => {
    fc.assert(
      fc.property(word, (value) => {
        const text = formatAddress([value]);
        expect(new URL(`http://${value}/`).hostname).toBe(text);
        expect(parseAddress(text)).toEqual([value]);
      }),
    );
  });
});
