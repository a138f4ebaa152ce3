import { expect, test } from 'vitest';
import { packetRecord } from './packet-record.ts';
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
  ['from=192.0.2.1', 'destination'],
  ['from=192.0.2.1 to=2001:db8::1', 'destination'],
  ['from=192.0.2.1 to=10.0.0.1 port=70000', 'destinationPort'],
  ['from=192.0.2.1 to=10.0.0.1 state=asleep', 'state'],
  ['from=192.0.2.1 to=10.0.0.1 quickly', 'quickly'],
])('%s is refused, and the field named', (text, field) => {
  expect(() => typedPacket(text)).toThrow(
    expect.objectContaining({ code: 'traffic/bad-packet', place: { field } }) as Error,
  );
});
