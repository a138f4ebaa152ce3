import fc from 'fast-check';
import { expect, test } from 'vitest';
import { packetRecord, packetText } from './packet-record.ts';
import { smallPacket } from './small-policies.reference.ts';
import { typedPacket } from './typed-packet.ts';

test('a person types a packet in words', () => {
  const packet = typedPacket('in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 udp port=53 established');
  expect(packetRecord(packet)).toMatchObject({
    path: 'through',
    source: '192.0.2.1',
    destination: '10.4.0.1',
    protocol: 'udp',
    destinationPort: 53,
    state: 'established',
  });
});

test('a packet is read back from its own record', () => {
  const packet = typedPacket('to in=wan0 from=2001:db8::1 to=2001:db8::2 icmpv6 icmp=echo-request new');
  expect(packetRecord(typedPacket(JSON.stringify(packetRecord(packet))))).toEqual(packetRecord(packet));
});

test.each([
  'tcp 10.3.1.1:40000 on lan0 -> 192.0.2.10:443 on wan0, new',
  'udp [2001:db8::1]:53 on lan0 -> [2001:db8::2]:53, established',
  'icmp destination-unreachable code 4 192.0.2.10 -> 10.3.1.1 on lan0, related, with mark 1 and not asleep',
  'icmpv6 200 2001:db8::1 on lan0 -> 2001:db8::2 on wan0, new',
  'esp 10.3.1.1 on lan0 -> 192.0.2.10 on wan0, new',
])('%s, as answers print a packet, is read as that packet', (text) => {
  expect(packetText(typedPacket(text))).toBe(text);
});

test('what answers print of drawn packets is read as the same packet', () => {
  for (const family of [4, 6] as const)
    fc.assert(
      fc.property(smallPacket(family), (packet) => {
        const named = packet.inInterface !== '' && packet.outInterface !== '';
        fc.pre(named || packet.path !== 'through');
        expect(packetText(typedPacket(packetText(packet)))).toBe(packetText(packet));
      }),
    );
});

test.each([
  ['from=192.0.2.1', 'destination'],
  ['from=192.0.2.1 to=2001:db8::1', 'destination'],
  ['from=192.0.2.1 to=10.0.0.1 port=70000', 'destinationPort'],
  ['from=192.0.2.1 to=10.0.0.1 state=asleep', 'state'],
  ['from=192.0.2.1 to=10.0.0.1 quickly', 'quickly'],
  ['tcp 10.3.1.1:40000 on lan0 -> 192.0.2.300:443 on wan0', 'destination'],
  ['10.3.1.1:40000 -> 192.0.2.30:443', 'protocol'],
  ['tcp 10.3.1.1:40000 -> 192.0.2.30:443, asleep', 'state'],
])('%s is refused, and the field named', (text, field) => {
  expect(() => typedPacket(text)).toThrow(
    expect.objectContaining({ code: 'traffic/bad-packet', place: { field } }) as Error,
  );
});
