import { describe, expect, it } from 'vitest';
import { numberSet, parseAddresses } from '#core/address';
import { dialectFromMapping } from './mapping/index.ts';
import { namingOf } from './naming.ts';
import { readCapture } from './read-capture.ts';

const capture = (text: string) => readCapture([{ name: 'gate.nft', bytes: new TextEncoder().encode(text) }]);
const SETS = `define web = { 80, 443 }
define quay = 10.4.0.1
table inet gate {
  set crew { type ipv4_addr; flags interval; elements = { 10.1.0.0/16, 10.9.0.0/16 }; }
  set six { type ipv6_addr; elements = { 2001:db8::1 }; }
  set legs { type ifname; elements = { "lan0", "lan1" }; }
  set seen { type ipv4_addr; flags dynamic, timeout; elements = { 10.7.0.1 }; }
  chain c { type filter hook forward priority 0; ip saddr @crew accept; }
}
`;
const addresses = (...texts: string[]) => {
  const [first, ...rest] = texts.map((text) => parseAddresses(text)!);
  return { ...first!, ranges: [...first!.ranges, ...rest.flatMap(({ ranges }) => ranges)] };
};

describe('the names of objects', () => {
  const naming = namingOf(capture(SETS));
  it('stand for exactly what they hold', () => {
    expect(naming.addresses?.(addresses('10.1.0.0/16', '10.9.0.0/16'))).toBe('@crew');
    expect(naming.addresses?.(addresses('10.1.0.0/16'))).toBeUndefined();
    expect(naming.addresses?.(addresses('10.4.0.1'))).toBe('$quay');
    expect(naming.addresses?.(addresses('2001:db8::1'))).toBe('@six');
    expect(
      naming.ports?.(
        numberSet([
          [80, 80],
          [443, 443],
        ]),
        [6, 6],
      ),
    ).toBe('$web');
    expect(naming.interfaces?.(['lan1', 'lan0'])).toBe('@legs');
  });

  it('are not used where a program fills the set, or where two versions mean different things', () => {
    expect(naming.addresses?.(addresses('10.7.0.1'))).toBeUndefined();
    const both = namingOf(capture(SETS), capture(SETS.replace('10.9.0.0/16', '10.8.0.0/16')));
    expect(both.addresses?.(addresses('10.1.0.0/16', '10.9.0.0/16'))).toBeUndefined();
    expect(both.addresses?.(addresses('10.4.0.1'))).toBe('$quay');
  });

  it('come from mapping files too, groups of groups and services with a protocol', () => {
    const mapping = `mapping: 1
name: quay
format: braces
recognise: ["known "]
addresses: [{ at: "known {name} is {value}", value: "{value}" }]
groups: [{ at: "crew {name}", members: "*/.name" }]
services: [{ at: "trade {name} is {protocol} {ports}", protocol: "{protocol}", ports: "{ports}" }]
`;
    const text =
      'known a is 10.1.0.0/16;\nknown b is 10.9.0.0/16;\ncrew one { a; }\ncrew two { one; b; }\ntrade https is tcp 443;\n';
    const taught = [dialectFromMapping({ name: 'quay.yaml', text: mapping })];
    const read = readCapture([{ name: 'x', bytes: new TextEncoder().encode(text) }], { taught });
    const mapped = namingOf(read);
    expect(mapped.addresses?.(addresses('10.1.0.0/16', '10.9.0.0/16'))).toBe('two');
    expect(mapped.ports?.([443, 443], [6, 6])).toBe('https');
    expect(mapped.ports?.([443, 443], [17, 17])).toBeUndefined();
  });
});
