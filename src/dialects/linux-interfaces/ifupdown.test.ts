import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { compareConfigurations, textOf } from '#core/config';
import { ifupdown } from './index.ts';

const NAME = 'etc/network/interfaces';
const read = (text: string, ...more: { name: string; text: string }[]) =>
  ifupdown.read([{ name: NAME, text }, ...more]);
const iface = (text: string, name: string) =>
  read(text).objects.find((object) => object.id === `interface ${name}`)!;

const GATEWAY = `# Gull Quay gateway
source /etc/network/interfaces.d/*
auto lo wan0
allow-hotplug quay0
auto quay0.20

iface lo inet loopback

iface wan0 inet static
    address 203.0.113.2
    netmask 255.255.255.248
    gateway 203.0.113.1
    dns-nameservers 10.1.0.53

iface wan0 inet6 static
    address 2001:db8:1::2/64
    gateway 2001:db8:1::1

iface leg inet static
    mtu 1400

iface quay0 inet static inherits leg
    address 10.1.0.1/16
    up ip route add 10.3.0.0/16 via 10.1.0.254 \\
       metric 50
    down ip route del 10.3.0.0/16 via 10.1.0.254
    post-up /usr/local/sbin/tide-gauge

iface quay0 inet static
    address 10.1.128.1/24

iface quay0.20 inet static
\taddress 10.1.20.1/24
iface mole0 inet dhcp
iface mole1 inet static
    address 10.2.1.1
iface br0 inet static
   address 10.9.0.1/24
   bridge_ports quay0 mole0
mapping eth*
    script /bin/choose
    map a b
`;

// What ifquery and ifup --no-act of ifupdown 0.8.41 (Debian) print for this very file was written down beside each line.
describe('an interfaces file', () => {
  test.each<[string, string[]]>([
    // ip addr add 203.0.113.2/255.255.255.248; ip -6 addr add 2001:db8:1::2/64
    ['wan0', ['2001:db8:1::2/64', '203.0.113.2/29']],
    // ip addr add 10.1.0.1/255.255.0.0; ip addr add 10.1.128.1/255.255.255.0
    ['quay0', ['10.1.0.1/16', '10.1.128.1/24']],
    ['quay0.20', ['10.1.20.1/24']],
    // ip addr add 10.2.1.1/255.0.0.0: no netmask means the class of the address
    ['mole1', ['10.2.1.1/8']],
    ['mole0', []],
  ])('gives %s its addresses', (name, addresses) => {
    expect(iface(GATEWAY, name).value).toMatchObject({ addresses });
  });
  test.each([
    // ifup --no-act prints: ip -6 addr add 2001:db8::1 dev a
    ['inet6', '2001:db8::1', '2001:db8::1/128'],
    // netmask: 255.255.0.0, netmask: 255.255.255.0
    ['inet', '172.16.0.1', '172.16.0.1/16'],
    ['inet', '192.0.2.1', '192.0.2.1/24'],
    ['inet', '10.0.0.1/255.255.0.0', '10.0.0.1/16'],
  ])('without a netmask of its own: %s %s is %s', (family, text, address) => {
    expect(iface(`iface a ${family} static\n address ${text}\n`, 'a').value).toMatchObject({
      addresses: [address],
    });
  });
  test('says when an interface starts (ifquery --list -a: lo wan0 quay0.20; --allow=hotplug: quay0)', () => {
    const starts = read(GATEWAY)
      .objects.filter(({ kind }) => kind === 'interface')
      .map(({ name, value }) => [name, (value as { start: string[] }).start]);
    expect(Object.fromEntries(starts)).toMatchObject({
      lo: ['auto'],
      wan0: ['auto'],
      'quay0.20': ['auto'],
      quay0: ['hotplug'],
      mole0: [],
    });
  });
  test('gives routes of gateways and of plain route commands', () => {
    expect(
      read(GATEWAY)
        .objects.filter(({ kind }) => kind === 'route')
        .map(({ value, place }) => [value, place.line]),
    ).toEqual([
      // ip route add default via 203.0.113.1 dev wan0
      [{ destination: '0.0.0.0/0', gateway: '203.0.113.1', interface: 'wan0' }, 12],
      // ip -6 route replace default via 2001:db8:1::1 dev wan0
      [{ destination: '::/0', gateway: '2001:db8:1::1', interface: 'wan0' }, 17],
      [{ destination: '10.3.0.0/16', gateway: '10.1.0.254', interface: null, metric: 50 }, 24],
    ]);
  });
  test('keeps an option that is there twice, and a broadcast address', () => {
    const text =
      'iface mole0 inet static\n    address 10.2.0.1/16\n    broadcast 10.2.255.255\n    dns-nameservers 10.1.0.53\n    dns-nameservers 10.1.0.54\n';
    expect(iface(text, 'mole0').value).toMatchObject({
      options: { broadcast: '10.2.255.255', 'dns-nameservers': ['10.1.0.53', '10.1.0.54'] },
    });
  });
  test('takes the options of a template (ifquery quay0: mtu: 1400)', () => {
    expect(iface(GATEWAY, 'quay0').value).toMatchObject({ options: { mtu: '1400' } });
  });
  test('refers to parents, members and templates', () => {
    const refers = (name: string) => iface(GATEWAY, name).references.map(({ to }) => to);
    expect(refers('quay0')).toEqual(['interface leg']);
    // ip link add link quay0 name quay0.20 type vlan id 20
    expect(refers('quay0.20')).toEqual(['interface quay0']);
    expect(iface(GATEWAY, 'quay0.20').value).toMatchObject({ vlan: 20, parent: 'quay0' });
    expect(refers('br0')).toEqual(['interface quay0', 'interface mole0']);
  });
  test('names what is not read: files that were not given, commands, mappings', () => {
    const { opaque } = read(GATEWAY);
    expect(opaque.map(({ why, place, within }) => [why, place.line, within])).toEqual([
      ['The file /etc/network/interfaces.d/* is not among the files that were given.', 2, null],
      ['What mapping does is decided on the device.', 40, null],
      ['What this command does is not known.', 27, 'interface quay0'],
    ]);
    expect(opaque[2]!.text).toBe('post-up /usr/local/sbin/tide-gauge');
  });
  test('knows a sourced file that was given', () => {
    const more = {
      name: 'etc/network/interfaces.d/slip',
      text: 'iface slip0 inet static\n address 10.4.0.1/16\n',
    };
    const { opaque, objects } = read(GATEWAY, more);
    expect(opaque.some(({ why }) => why.startsWith('The file'))).toBe(false);
    expect(objects.find(({ name }) => name === 'slip0')!.place.file).toBe(more.name);
  });
  test('is recognised and written back unchanged, place by place', () => {
    const { files, objects } = read(GATEWAY);
    expect(ifupdown.recognises(files[0]!)).toBeGreaterThan(0.9);
    expect(ifupdown.recognises({ name: NAME, text: 'table inet filter { }\n' })).toBe(0);
    expect(ifupdown.write(files, [])).toEqual(files);
    expect(textOf(files, objects.find(({ name }) => name === 'mole1')!.place)).toBe(
      'iface mole1 inet static\n    address 10.2.1.1',
    );
  });
  test('is the same whatever its layout', () => {
    const other = GATEWAY.replaceAll('    ', '\t').replaceAll('\n\n', '\n\n# note\n\n');
    expect(compareConfigurations(read(GATEWAY), read(other)).changes).toEqual([]);
  });
});

describe('bad input', () => {
  test.each([
    ['iface a inet static inherits a\n address 10.0.0.1/8\n', 'The template a inherits from itself.'],
    ['iface a inet static inherits b\n', 'The template b is not there.'],
    ['iface a inet static\n address 10.0.0/8\n', 'This is not an address with a netmask.'],
    [
      'iface a inet static\n address 10.0.0.1\n netmask 255.0.255.0\n',
      'This is not an address with a netmask.',
    ],
    ['iface a ipx static\n', 'The address family ipx is not read.'],
    ['address 10.0.0.1\n', 'This is no stanza of an interfaces file.'],
  ])('%j is named', (text, why) => {
    expect(read(text).opaque.map((part) => part.why)).toContain(why);
  });
  test('never throws, and never loses a line that it does not understand (fuzz)', () => {
    const words = fc.constantFrom(
      'iface',
      'auto',
      'a',
      'b',
      'inet',
      'inet6',
      'static',
      'inherits',
      'address',
      '10.0.0.1/8',
      'netmask',
      'up',
      'ip route add',
      'via',
      '\n',
      '\n ',
      '\\\n',
      '#',
      'source',
      '*',
      '[',
      '__proto__',
      'constructor',
      '\r\n',
      '\u{1f6a2}',
    );
    fc.assert(
      fc.property(fc.array(words, { maxLength: 40 }), (list) => {
        const text = list.join(' ');
        const { files, objects, opaque } = read(text);
        expect(ifupdown.write(files, [])[0]!.text).toBe(text);
        for (const { place } of [...objects, ...opaque]) expect(place.start).toBeLessThan(place.end);
      }),
      { numRuns: 500 },
    );
  });
});
