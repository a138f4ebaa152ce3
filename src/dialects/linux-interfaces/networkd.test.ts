import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { compareConfigurations, indexReferences } from '#core/config';
import { TuckpointError } from '#core/errors';
import { networkd } from './index.ts';

/** Laid out as examples 1, 2 and 5 of systemd.network(5) and example 2 of systemd.netdev(5); names and addresses are invented. */
const FILES = [
  { name: 'etc/systemd/network/25-bridge.netdev', text: '[NetDev]\nName=bridge0\nKind=bridge\n' },
  {
    name: 'etc/systemd/network/25-bridge.network',
    text: '[Match]\nName=bridge0\n\n[Network]\nDescription=Quay\nAddress=10.1.0.1/16\nAddress=2001:db8:1::1/64\nGateway=10.1.0.254\nDNS=10.1.0.53\n',
  },
  {
    name: 'etc/systemd/network/26-port.network',
    text: '[Match]\nName=quay0 quay1\n\n[Network]\nBridge=bridge0\n',
  },
  { name: 'etc/systemd/network/30-vlan.netdev', text: '[NetDev]\nName=vlan20\nKind=vlan\n\n[VLAN]\nId=20\n' },
  {
    name: 'etc/systemd/network/40-mole.network',
    text: '[Match]\nName=mole0\n\n[Network]\nVLAN=vlan20\nDHCP=yes\nIPMasquerade=ipv4\n\n[Address]\nAddress=10.2.0.1/16\n\n[Route]\nDestination=10.3.0.0/16\nGateway=10.2.0.254\nMetric=50\n\n[RoutingPolicyRule]\nFrom=10.2.0.0/16\nTable=7\n',
  },
  {
    name: 'etc/systemd/network/10-wan.link',
    text: '[Match]\nMACAddress=00:00:5e:00:53:01\n\n[Link]\nName=wan0\n',
  },
  { name: 'etc/systemd/network/80-dhcp.network', text: '[Match]\nName=en*\n\n[Network]\nDHCP=yes\n' },
];
const read = (files = FILES) => networkd.read(files);
const byId = (id: string) => read().objects.find((object) => object.id === id)!;

describe('files of systemd-networkd', () => {
  test('give interfaces their addresses', () => {
    expect(byId('interface bridge0')).toMatchObject({
      comment: 'Quay',
      value: { addresses: ['10.1.0.1/16', '2001:db8:1::1/64'], DNS: '10.1.0.53' },
    });
    expect(byId('interface mole0').value).toMatchObject({
      addresses: ['10.2.0.1/16'],
      DHCP: 'yes',
      VLAN: 'vlan20',
    });
    expect(byId('interface vlan20').value).toEqual({ device: 'vlan', addresses: [] });
    expect(byId('interface en*').value).toMatchObject({ DHCP: 'yes' });
  });
  test('give routes: the gateway is the default route', () => {
    expect(
      read()
        .objects.filter(({ kind }) => kind === 'route')
        .map(({ value, place }) => [value, place.file.slice(-15), place.line]),
    ).toEqual([
      [{ destination: '0.0.0.0/0', gateway: '10.1.0.254', interface: 'bridge0' }, '-bridge.network', 8],
      [
        { destination: '10.3.0.0/16', gateway: '10.2.0.254', interface: 'mole0', metric: 50 },
        '40-mole.network',
        12,
      ],
    ]);
  });
  test('refer to bridges, VLANs and the devices behind interfaces', () => {
    const references = indexReferences(read());
    expect(references.usersOf('interface bridge0').map(({ id }) => id)).toEqual(
      expect.arrayContaining(['interface quay0', 'interface quay1']),
    );
    expect(references.usersOf('interface vlan20').map(({ id }) => id)).toEqual(['interface mole0']);
    expect(references.usersOf('section netdev bridge0').map(({ id }) => id)).toEqual(['interface bridge0']);
  });
  test('name what may touch traffic and is not read', () => {
    expect(read().opaque.map(({ text, within, place }) => [text, within, place.line])).toEqual([
      ['IPMasquerade=ipv4', 'interface mole0', 7],
      ['[RoutingPolicyRule] From=10.2.0.0/16 Table=7', 'interface mole0', 17],
    ]);
  });
  test('count by the first match in the order of their names (systemd.network(5))', () => {
    const late = {
      name: 'run/systemd/network/90-again.network',
      text: '[Match]\nName=mole0\n[Network]\nAddress=10.9.9.9/8\n',
    };
    const { objects, opaque } = read([late, ...FILES]);
    expect(objects.filter(({ id }) => id === 'interface mole0')).toHaveLength(1);
    expect(opaque.at(-1)!.why).toBe(
      'The file etc/systemd/network/40-mole.network matches mole0 first, so this one does not count for it.',
    );
  });
  test('an empty value takes back what stood before (systemd.syntax(7))', () => {
    const { objects } = read([
      {
        name: 'a.network',
        text: '[Match]\nName=a\n[Network]\nAddress=10.0.0.1/8\nAddress=\nAddress=10.0.0.2\n',
      },
    ]);
    expect(objects[0]!.value).toMatchObject({ addresses: ['10.0.0.2/32'] });
  });
  test('a drop-in that was given is named as not read', () => {
    const { opaque } = read([
      ...FILES,
      { name: 'etc/systemd/network/40-mole.network.d/more.conf', text: '[Network]\nDNS=10.2.0.53\n' },
    ]);
    expect(opaque.at(-1)).toMatchObject({ why: 'What a drop-in file changes is not read.' });
  });
  test('are recognised by name or by content, and written back unchanged', () => {
    for (const file of FILES) {
      expect(networkd.recognises(file)).toBeGreaterThan(0.9);
      expect(networkd.recognises({ name: 'x', text: file.text })).toBe(
        file.name.endsWith('.netdev') || /\[(?:Network|Link)\]/.test(file.text) ? 0.9 : 0,
      );
    }
    expect(networkd.recognises({ name: 'my.ini', text: '[gate]\nName=x\n' })).toBe(0);
    expect(networkd.write(FILES, [])).toEqual(FILES);
  });
  test('differ where a setting differs', () => {
    const changed = FILES.map((file) => ({ ...file, text: file.text.replace('10.1.0.1/16', '10.1.0.2/16') }));
    const { changes } = compareConfigurations(read(), read(changed));
    expect(changes.map((c) => [c.change, c.before?.id, c.fields])).toEqual([
      [
        'changed',
        'interface bridge0',
        [{ field: 'addresses', what: 'elements', before: ['10.1.0.1/16'], after: ['10.1.0.2/16'] }],
      ],
    ]);
  });
  test('mangled at random are read, or refused with a line (fuzz)', () => {
    const words = fc.constantFrom(
      '[Match]',
      '[Network]',
      '[NetDev]',
      '[Route]',
      '[__proto__]',
      '[',
      'Name=a',
      'Name=',
      'Address=10.0.0.1/8',
      'Address=x',
      'Metric=z',
      'constructor=1',
      '__proto__=1',
      'Bridge=a',
      '#',
      '=',
      '\\',
      'x',
      '\u{1f6a2}',
    );
    fc.assert(
      fc.property(
        fc.array(words, { maxLength: 25 }),
        fc.constantFrom('a.network', 'a.netdev', 'a.link', 'a.network.d/b.conf'),
        (lines, name) => {
          const text = lines.join('\n');
          try {
            const { files, objects } = networkd.read([{ name, text }]);
            expect(networkd.write(files, [])[0]!.text).toBe(text);
            expect(compareConfigurations({ ...networkd.read(files) }, networkd.read(files)).equal).toBe(true);
            expect(new Set(objects).size).toBe(objects.length);
          } catch (error) {
            if (!(error instanceof TuckpointError)) throw error;
            expect(error.place?.line).toBeGreaterThan(0);
          }
        },
      ),
      { numRuns: 500 },
    );
  });
});
