import { expect, test } from 'vitest';
import { packetOf, packetOfText } from './packet-words.ts';
import { wordsOfPacket } from './row-words.ts';

test('a packet is read back from its own words', () => {
  const packet = packetOf({
    path: 'to',
    inInterface: 'wan0',
    source: '2001:db8::1',
    destination: '2001:db8::2',
    protocol: 'ipv6-icmp',
    icmpType: 'echo-request',
    state: 'new',
  });
  expect(packetOf({ ...wordsOfPacket(packet) })).toEqual(packet);
  expect(wordsOfPacket(packet)).toMatchObject({ icmpType: 128, protocol: 'ipv6-icmp' });
});

test('a person types it in words', () => {
  expect(
    wordsOfPacket(packetOfText('in=wan0 out=tick0 from=192.0.2.1 to=10.4.0.1 udp port=53 established')),
  ).toEqual({
    path: 'through',
    inInterface: 'wan0',
    outInterface: 'tick0',
    source: '192.0.2.1',
    destination: '10.4.0.1',
    protocol: 'udp',
    sourcePort: 0,
    destinationPort: 53,
    state: 'established',
  });
});

test.each([
  ['from=192.0.2.1', 'destination'],
  ['from=192.0.2.1 to=2001:db8::1', 'destination'],
  ['from=192.0.2.1 to=10.0.0.1 port=70000', 'destinationPort'],
  ['from=192.0.2.1 to=10.0.0.1 state=asleep', 'state'],
  ['from=192.0.2.1 to=10.0.0.1 colour=red', 'colour'],
  ['from=192.0.2.1 to=10.0.0.1 quickly', 'quickly'],
  ['{"source": ', undefined],
])('%s is refused, and the field named', (text, field) => {
  expect(() => packetOfText(text)).toThrow(
    expect.objectContaining({
      code: 'traffic/packet',
      place: field === undefined ? undefined : { field },
    }) as Error,
  );
});
