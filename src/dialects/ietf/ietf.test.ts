import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { parseAddress } from '#core/address';
import { compareConfigurations, type SourceFile, textOf } from '#core/config';
import { TuckpointError } from '#core/errors';
import { decide, type Packet, trafficDifference } from '#core/traffic';
import { applyEdits, decode, encode } from '#dialects/source';
import { readTree, setValue, walk } from '#dialects/tree';
import { ietf } from './index.ts';
import { addressConfig, addressData, interfaceConfig, interfaceData } from './rfc8343-8344.reference.ts';
import { interfacesJson, routing } from './rfc8349-7951.reference.ts';
import { allowDns, denyTcp, icmpEcho, onePort, otherPorts, portRange } from './rfc8519.reference.ts';

const file = (text: string): SourceFile => ({ name: 'device.data', text });
const read = (...texts: string[]) =>
  ietf.read(texts.map((text, i) => ({ name: `device${i === 0 ? '' : i}.data`, text })));
const PUBLISHED = {
  denyTcp,
  allowDns,
  portRange,
  icmpEcho,
  onePort,
  otherPorts,
  interfaceConfig,
  interfaceData,
  addressConfig,
  addressData,
  routing,
  interfacesJson,
};

describe('every published example', () => {
  test.each(Object.entries(PUBLISHED))('%s is recognised and written back byte for byte', (_, text) => {
    const bytes = new TextEncoder().encode(text);
    const source = decode('device.data', bytes);
    expect(ietf.recognises(source)).toBeGreaterThan(0.9);
    const { files } = ietf.read([source]);
    expect(encode(ietf.write(files, [])[0]!)).toEqual(bytes);
  });
  test.each(Object.entries(PUBLISHED))(
    '%s: changing any one leaf touches only its value, and changing it back restores the bytes',
    (_, text) => {
      const tree = readTree(file(text));
      for (const node of walk(tree.root)) {
        if (
          node.value === null ||
          node.children.length > 0 ||
          node.kind === 'literal' ||
          node.kind === 'number'
        )
          continue;
        const [there] = ietf.write([file(text)], [setValue(tree, node, 'groyne <&> "40"')]);
        expect(there!.text.slice(0, node.valueStart)).toBe(text.slice(0, node.valueStart));
        const changed = readTree(there!);
        const same = [...walk(changed.root)].find(
          ({ start, name }) => start === node.start && name === node.name,
        )!;
        expect(same.value).toBe('groyne <&> "40"');
        expect(ietf.write([there!], [setValue(changed, same, node.value)])[0]!.text).toBe(text);
      }
    },
  );
  test.each(Object.entries(PUBLISHED))('%s: every object stands where its place says', (_, text) => {
    const { objects, files } = read(text);
    expect(objects.length).toBeGreaterThan(0);
    for (const object of objects) {
      const raw = textOf(files, object.place);
      expect(raw).toMatch(/^[<{"]/);
      expect(text.slice(0, object.place.start).split('\n')).toHaveLength(object.place.line);
    }
  });
});

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

describe('interfaces and addresses', () => {
  test('are read without their state (RFC 8343 appendices D and E: the same device)', () => {
    const config = read(interfaceConfig);
    expect(config.objects.map(({ name, value }) => [name, value])).toEqual([
      ['eth0', { enabled: false, type: 'ethernetCsmacd' }],
      ['eth1', { enabled: true, type: 'ethernetCsmacd' }],
      ['eth1.10', { enabled: true, type: 'l2vlan' }],
      ['lo1', { enabled: true, type: 'softwareLoopback' }],
    ]);
    expect(compareConfigurations(config, read(interfaceData)).changes).toEqual([]);
    expect(compareConfigurations(config, read(interfacesJson)).changes).toEqual([]);
  });
  test('carry addresses and leave learned ones out (RFC 8344 appendices A and B)', () => {
    const [eth0] = read(addressConfig).objects;
    expect(eth0!.value).toMatchObject({
      ipv4: { addresses: ['192.0.2.1/24'] },
      ipv6: { mtu: 1280, addresses: ['2001:db8::10/32'] },
    });
    const [seen] = read(addressData).objects;
    expect(seen!.value).toMatchObject({
      ipv4: { addresses: ['192.0.2.1/24'], neighbors: [] },
      ipv6: { addresses: ['2001:db8::10/32'], neighbors: [] },
    });
  });
  test('name parts of modules that are not read', () => {
    expect(read(interfaceConfig).opaque.map(({ text, within }) => [text, within])).toEqual([
      ['<vlan:vlan-tagging>true</vlan:vlan-tagging>', 'interface eth1'],
      ['<vlan:base-interface>eth1</vlan:base-interface>', 'interface eth1.10'],
      ['<vlan:vlan-id>10</vlan:vlan-id>', 'interface eth1.10'],
    ]);
  });
});

describe('routes (RFC 8349 appendix D)', () => {
  test('are the static ones, in canonical form', () => {
    const { objects } = read(routing);
    expect(objects.filter(({ kind }) => kind === 'route').map(({ name, value }) => [name, value])).toEqual([
      [
        '0.0.0.0/0 (st0)',
        {
          family: 'ipv4',
          'destination-prefix': '0.0.0.0/0',
          'next-hop': { 'next-hop-address': '192.0.2.2' },
        },
      ],
      [
        '::/0 (st0)',
        {
          family: 'ipv6',
          'destination-prefix': '::/0',
          'next-hop': { 'next-hop-address': '2001:db8:0:1::2' },
        },
      ],
    ]);
    expect(objects.find(({ name }) => name === 'eth0')).toMatchObject({
      comment: 'Uplink to ISP.',
      value: { ipv6: { addresses: ['2001:db8:0:1::1/64'] } },
    });
  });
});

describe('system settings', () => {
  // The nodes are those of the ietf-system module, RFC 7317 section 4; the values are invented.
  const xml = `<config xmlns="urn:ietf:params:xml:ns:netconf:base:1.0">
  <system xmlns="urn:ietf:params:xml:ns:yang:ietf-system">
    <hostname>gullquay.brackwater.example</hostname>
    <clock><timezone-utc-offset>60</timezone-utc-offset></clock>
    <ntp><enabled>true</enabled><server><name>one</name><udp><address>10.1.0.9</address></udp></server></ntp>
    <dns-resolver><search>brackwater.example</search><server><name>a</name><udp-and-tcp><address>2001:DB8:0::53</address></udp-and-tcp></server></dns-resolver>
  </system>
</config>`;
  const json = `{"ietf-system:system": {"hostname": "gullquay.brackwater.example", "clock": {"timezone-utc-offset": 60},
  "ntp": {"enabled": true, "server": [{"name": "one", "udp": {"address": "10.1.0.9"}}]},
  "dns-resolver": {"search": ["brackwater.example"], "server": [{"name": "a", "udp-and-tcp": {"address": "2001:db8::53"}}]}}}`;
  test('are the same in XML and JSON (RFC 7951)', () => {
    const [a, b] = [read(xml), read(json)];
    expect(a.objects.map(({ name }) => name)).toEqual([
      'hostname',
      'clock',
      'ntp server one',
      'ntp',
      'dns-resolver server a',
      'dns-resolver',
    ]);
    expect(compareConfigurations(a, b).equal).toBe(true);
  });
});

describe('bad input', () => {
  test.each([
    ['truncated XML', denyTcp.slice(0, 400), /^device\.data:\d+: This is not well-formed XML/],
    ['truncated JSON', routing.slice(0, 900), /^device\.data:\d+: (?:The JSON text ends|This is not JSON)/],
  ])('%s is refused with its line', (_, text, message) => {
    expect(() => read(text)).toThrow(TuckpointError);
    try {
      read(text);
    } catch (error) {
      expect((error as TuckpointError).text).toMatch(message);
    }
  });
  test('a mangled example is read or refused in one sentence, and its policy answers (fuzz)', () => {
    const texts = Object.values(PUBLISHED);
    const cut = fc.tuple(
      fc.nat(),
      fc.nat(40),
      fc.constantFrom('', '"', '<', '>', '{', ']', '0', 'x', ' ', 'null', '<a/>'),
    );
    fc.assert(
      fc.property(fc.constantFrom(...texts), fc.array(cut, { minLength: 1, maxLength: 4 }), (text, cuts) => {
        const bad = cuts.reduce(
          (t, [at, length, what]) => t.slice(0, at % t.length) + what + t.slice((at % t.length) + length),
          text,
        );
        try {
          const configuration = read(bad);
          ietf.policy(configuration);
          expect(applyEdits(configuration.files, [])[0]!.text).toBe(bad);
        } catch (error) {
          if (!(error instanceof TuckpointError)) throw error;
          expect(error.place?.line).toBeGreaterThan(0);
        }
      }),
      { numRuns: 500 },
    );
  });
});
