import { describe, expect, test } from 'vitest';
import { parseAddress } from '#core/address';
import { decide, type Packet, trafficDifference } from '#core/traffic';
import { ietf } from './index.ts';
import { interfaceConfig } from './rfc8343-8344.reference.ts';
import { allowDns, denyTcp, icmpEcho, onePort, otherPorts, portRange } from './rfc8519.reference.ts';

const read = (text: string) => ietf.read([{ name: 'device.data', text }]);

const PACKET: Packet = {
  path: 'through',
  family: 4,
  inInterface: 'eth0',
  outInterface: 'eth1',
  source: parseAddress('192.0.2.7')!,
  destination: parseAddress('198.51.100.9')!,
  protocol: 6,
  sourcePort: 40000,
  destinationPort: 80,
  state: 'new',
};
const APPLIED = (name: string) => ({ conditions: [`the access list ${name} is applied to the packet`] });
const verdict = (text: string, packet: Partial<Packet>) =>
  decide(ietf.policy(read(text))!, { ...PACKET, ...packet }).verdict;

describe('access lists (RFC 8519 sections 4.3 and 4.4 say in words what each example does)', () => {
  const v6 = {
    family: 6,
    source: parseAddress('2001:db8:9::1')!,
    destination: parseAddress('2001:db8::53')!,
    protocol: 17,
    destinationPort: 53,
  } as const;
  const list = APPLIED('sample-ipv4-acl');
  test.each<[string, string, Partial<Packet>, string]>([
    ['TCP from 192.0.2.0/24 to 198.51.100.0/24 is dropped', denyTcp, list, 'drop'],
    ['UDP there is not', denyTcp, { ...list, protocol: 17 }, 'accept'],
    ['TCP from elsewhere is not', denyTcp, { ...list, source: parseAddress('192.0.3.1')! }, 'accept'],
    ['nothing is dropped where the list is not applied', denyTcp, {}, 'accept'],
    ['source port 16383 passes', portRange, { ...APPLIED('sample-port-acl'), sourcePort: 16383 }, 'accept'],
    ['source port 16384 is dropped', portRange, { ...APPLIED('sample-port-acl'), sourcePort: 16384 }, 'drop'],
    ['source port 16387 is dropped', portRange, { ...APPLIED('sample-port-acl'), sourcePort: 16387 }, 'drop'],
    ['source port 16388 passes', portRange, { ...APPLIED('sample-port-acl'), sourcePort: 16388 }, 'accept'],
    [
      'an echo request is dropped',
      icmpEcho,
      { ...APPLIED('sample-icmp-acl'), protocol: 1, icmpType: 8, icmpCode: 0 },
      'drop',
    ],
    [
      'an echo reply passes',
      icmpEcho,
      { ...APPLIED('sample-icmp-acl'), protocol: 1, icmpType: 0, icmpCode: 0 },
      'accept',
    ],
    ['an IPv4 list says nothing about IPv6', denyTcp, { ...list, ...v6 }, 'accept'],
    ['a port other than 21 is dropped', otherPorts, { ...list, destinationPort: 80 }, 'drop'],
    ['port 21 is not', otherPorts, { ...list, destinationPort: 21 }, 'accept'],
  ])('%s', (_, text, packet, expected) => {
    expect(verdict(text, packet)).toBe(expected);
  });
  test('an entry that accepts is the one that decides', () => {
    const dns = decide(ietf.policy(read(allowDns))!, { ...PACKET, ...v6, ...APPLIED('allow-dns-packets') });
    expect(dns).toMatchObject({ verdict: 'accept' });
    expect(dns.trace[0]!.rule.origin).toMatchObject({
      line: 9,
      text: expect.stringContaining('rule1: ipv6 (destination-ipv6-network 2001:db8::/32), udp'),
    });
    const ftp = decide(ietf.policy(read(onePort))!, { ...PACKET, destinationPort: 21, ...list });
    expect(ftp.trace).toHaveLength(1);
  });

  const attached = (...extra: string[]) => `{
  "ietf-access-control-list:acls": {
    "acl": [
      {"name": "inward", "type": "ipv4-acl-type", "aces": {"ace": [
        {"name": "web", "matches": {"tcp": {"destination-port": {"operator": "eq", "port": 80}}}, "actions": {"forwarding": "accept"}}${extra.map((e) => `,\n        ${e}`).join('')}
      ]}}
    ],
    "attachment-points": {"interface": [
      {"interface-id": "eth0", "ingress": {"acl-sets": {"acl-set": [{"name": "inward"}]}}}
    ]}
  }
}`;
  const otherwise = 'a packet that matches no entry of its access lists is dropped';
  test('attached to an interface judge what comes in there, through the device and to it', () => {
    const text = attached('{"name": "rest", "matches": {}, "actions": {"forwarding": "reject"}}');
    expect(verdict(text, {})).toBe('accept');
    expect(verdict(text, { destinationPort: 81 })).toBe('reject');
    expect(verdict(text, { destinationPort: 81, path: 'to', outInterface: '' })).toBe('reject');
    expect(verdict(text, { destinationPort: 81, path: 'from', inInterface: '' })).toBe('accept');
    expect(verdict(text, { destinationPort: 81, inInterface: 'eth2' })).toBe('accept');
  });
  test('without a last word leave it open whether the rest is dropped, and the answer says so', () => {
    const decision = decide(ietf.policy(read(attached()))!, { ...PACKET, destinationPort: 81 });
    expect(decision.assumed).toContain(otherwise);
    expect(verdict(attached(), { destinationPort: 81, conditions: [otherwise] })).toBe('drop');
  });
  test('with a range of ports that ends before it begins name it', () => {
    const ports = '{"lower-port": 443, "upper-port": 80}';
    const text = attached(
      `{"name": "odd", "matches": {"tcp": {"destination-port": ${ports}}}, "actions": {"forwarding": "drop"}}`,
    );
    expect(ietf.policy(read(text))!.unread.map(({ reason }) => reason)).toEqual([
      'The ports are neither a range nor one port with a known operator.',
    ]);
  });
  test('show exactly which traffic an edit changes', () => {
    const rest = '{"name": "rest", "matches": {}, "actions": {"forwarding": "drop"}}';
    const before = read(attached(rest));
    const after = read(attached(rest).replace('"port": 80', '"port": 8080'));
    const found = trafficDifference(ietf.policy(before)!, ietf.policy(after)!);
    expect(found).toMatchObject({ verdict: 'different', exact: true });
    // The list judges what comes in at eth0, to the device and through it.
    expect(
      found.rows
        .map((row) => [
          row.path,
          row.family,
          row.inInterfaces?.map(({ text }) => text),
          row.protocols,
          row.destinationPorts,
          row.before.verdict,
          row.after.verdict,
        ])
        .sort(),
    ).toEqual(
      [
        ['through', 4, ['eth0'], [6, 6], [8080, 8080], 'drop', 'accept'],
        ['through', 4, ['eth0'], [6, 6], [80, 80], 'accept', 'drop'],
        ['to', 4, ['eth0'], [6, 6], [8080, 8080], 'drop', 'accept'],
        ['to', 4, ['eth0'], [6, 6], [80, 80], 'accept', 'drop'],
      ].sort(),
    );
  });
  test('keep header fields outside the packet space as named conditions', () => {
    const text = attached(
      '{"name": "marked", "matches": {"ipv4": {"dscp": 46}}, "actions": {"forwarding": "drop"}}',
    );
    expect(verdict(text, { destinationPort: 81, conditions: ['dscp 46'] })).toBe('drop');
  });
  test('name what they cannot read, with the line', () => {
    const text = attached(
      '{"name": "bad", "matches": {"ipv4": {"source-ipv4-network": "10.0.0/33"}}, "actions": {"forwarding": "drop"}}',
      '{"name": "odd", "matches": {"brackwater-tide:tide": {"level": "high"}}, "actions": {"forwarding": "drop"}}',
      '{"name": "mute", "matches": {}}',
    );
    const configuration = read(text);
    expect(configuration.opaque.map(({ why, place, within }) => [why, place.line, within])).toEqual([
      ['This is not an IPv4 prefix.', 6, 'rule acl inward 1'],
      ['The match tide of brackwater-tide is not read.', 7, 'rule acl inward 2'],
      ['The entry says no forwarding action.', 8, 'rule acl inward 3'],
    ]);
    expect(ietf.policy(configuration)!.unread).toHaveLength(3);
    expect(verdict(text, { destinationPort: 81, conditions: ['tide level high (entry odd)'] })).toBe('drop');
  });
  test('name every part that another module adds, wherever it stands', () => {
    const text = attached('{"name": "x", "brackwater:tally": 1, "actions": {"forwarding": "drop"}}').replace(
      '"acl-set": [',
      '"brackwater:last": "drop", "acl-set": [',
    );
    expect(read(text).opaque.map((part) => [part.text, part.within])).toEqual([
      ['"brackwater:tally": 1', 'rule acl inward 1'],
      ['"brackwater:last": "drop"', 'setting ingress of eth0'],
    ]);
  });
  test('refer to interfaces and lists, and a list that does not exist is named', () => {
    const configuration = read(attached().replace('[{"name": "inward"}]', '[{"name": "outward"}]'));
    const setting = configuration.objects.find(({ kind }) => kind === 'setting')!;
    expect(setting.references.map(({ to }) => to)).toEqual(['interface eth0', 'chain outward']);
    expect(ietf.policy(configuration)!.unread[0]!.reason).toBe('the access list outward does not exist');
  });
  test('have no policy where there are none', () => {
    expect(ietf.policy(read(interfaceConfig))).toBeNull();
  });
});
