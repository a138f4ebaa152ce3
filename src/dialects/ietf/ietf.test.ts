import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { compareConfigurations, type SourceFile, textOf } from '#core/config';
import { TuckpointError } from '#core/errors';
import { applyEdits, decode, encode } from '#dialects/source';
import { copyOf, insertNode, parentOf, readTree, setValue, walk } from '#dialects/tree';
import { ietf, standOf } from './index.ts';
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

describe('an object carried into another file', () => {
  const carry = (from: string, id: string, onto: string, beside: string) => {
    const [source, target] = [read(from), read(onto)];
    const one = standOf(source, source.objects.find((object) => object.id === id)!)!;
    const there = standOf(target, target.objects.find((object) => object.id === beside)!)!;
    const parent = parentOf(there)!;
    const edit = insertNode(there.tree, parent, parent.children.indexOf(there.node) + 1, copyOf(one));
    return { source, after: ietf.read(ietf.write(target.files, [edit])) };
  };
  test.each([
    ['interface eth1.10', interfaceConfig, addressConfig, 'interface eth0'],
    // A file that writes its elements with a prefix, and knows none of the other's prefixes.
    [
      'interface eth1.10',
      interfaceConfig,
      '<if:interfaces xmlns:if="urn:ietf:params:xml:ns:yang:ietf-interfaces"><if:interface><if:name>eth0</if:name></if:interface></if:interfaces>',
      'interface eth0',
    ],
    [
      'interface eth1',
      routing,
      '{"ietf-interfaces:interfaces": {"interface": [{"name": "lo1"}]}}',
      'interface lo1',
    ],
    ['rule acl sample-port-acl 0', portRange, otherPorts, 'rule acl sample-ipv4-acl 0'],
  ])('%s means the same there, and its new neighbours are untouched', (id, from, onto, beside) => {
    const { source, after } = carry(from, id, onto, beside);
    const [wanted] = source.objects.filter((object) => object.id === id);
    const target = read(onto);
    const { changes } = compareConfigurations(target, after);
    expect(changes.map(({ change, after: added }) => [change, added!.name, added!.value])).toEqual([
      ['added', wanted!.name, wanted!.value],
    ]);
    const added = after.opaque.filter(({ within }) => within === changes[0]!.after!.id).map(({ why }) => why);
    expect(added).toEqual(source.opaque.filter(({ within }) => within === id).map(({ why }) => why));
  });
  test('keeps its namespaces: the identity still names its module', () => {
    const { after } = carry(
      interfaceConfig,
      'interface eth1.10',
      '<interfaces xmlns="urn:ietf:params:xml:ns:yang:ietf-interfaces"><interface><name>eth0</name></interface></interfaces>',
      'interface eth0',
    );
    expect(after.files[0]!.text).toMatch(
      /<interface xmlns:ianaift="urn:ietf:params:xml:ns:yang:iana-if-type">\s*<name>eth1\.10/,
    );
  });
});

describe('bad input', () => {
  test.each([
    ['truncated XML', denyTcp.slice(0, 400), /^device\.data:\d+: This is not well-formed XML/],
    ['truncated JSON', routing.slice(0, 900), /^device\.data:\d+: The JSON text ends/],
    [
      'JSON cut off in a quoted text',
      routing.slice(0, routing.indexOf('": ')),
      /^device\.data:\d+: The JSON text ends/,
    ],
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
