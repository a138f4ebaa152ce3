import {
  type Dialect,
  objectId,
  type Reference,
  type SourceFile,
  type TypedConfiguration,
  type Value,
} from '#core/config';
import { applyEdits } from '#dialects/source';
import { familyOfText, prefixText, withLength } from './addresses.ts';
import {
  type NetworkdFile,
  type NetworkdSection,
  placeOfSetting,
  readNetworkdFile,
  setting,
  settingsValue,
} from './networkd-file.ts';
import { Collection } from './objects.ts';

/** Settings of [Network] that put the interface into or under another one (systemd.network(5)). */
const OTHERS = [
  'Bridge',
  'Bond',
  'VRF',
  'VLAN',
  'MACVLAN',
  'MACVTAP',
  'IPVLAN',
  'IPVTAP',
  'VXLAN',
  'Tunnel',
  'Xfrm',
  'BatmanAdvanced',
];
/** Sections that steer the interface itself; all others that may touch routing or filtering stay unread. */
const OF_THE_INTERFACE = new Set([
  'Match',
  'Link',
  'Network',
  'Address',
  'Route',
  'DHCP',
  'DHCPv4',
  'DHCPv6',
  'IPv6AcceptRA',
  'DHCPServer',
  'DHCPServerStaticLease',
  'IPv6SendRA',
  'IPv6Prefix',
  'LLDP',
  'Neighbor',
  'Bridge',
  'BridgeVLAN',
]);

/** Network files of systemd-networkd (systemd.network(5), systemd.netdev(5), systemd.link(5)). */
export const networkd: Dialect = {
  name: 'networkd',
  title: 'systemd-networkd files (.network, .netdev, .link)',
  recognises({ name, text }) {
    const head = text.slice(0, 8192);
    const told = /^\[(?:Match|NetDev)\]/m.test(head);
    if (/\.(?:network|netdev|link)$/.test(name)) return told ? 0.98 : 0.7;
    return told && (/^\[(?:Network|Link)\]/m.test(head) || /^Kind=/m.test(head)) ? 0.9 : 0;
  },
  read,
  policy: () => null,
  write: applyEdits,
};

function read(files: readonly SourceFile[]): TypedConfiguration {
  const into = new Collection(files);
  const baseName = (name: string) => name.slice(name.lastIndexOf('/') + 1);
  // All files are taken in the order of their names, whatever folder they are in (systemd.network(5)).
  const sorted = [...files].sort((a, b) =>
    baseName(a.name) < baseName(b.name) ? -1 : baseName(a.name) > baseName(b.name) ? 1 : 0,
  );
  const read = sorted.map(readNetworkdFile);
  const devices = new Map<string, NetworkdFile>();
  for (const file of read) {
    const device = file.sections.find(({ name }) => name === 'NetDev');
    const name = setting(device, 'Name');
    if (device !== undefined && name !== null) {
      devices.set(name, file);
      into.add(
        'section',
        `netdev ${name}`,
        'devices',
        file.place,
        everySetting(file, []),
        vlanReferences(file),
      );
    }
  }
  const taken = new Map<string, string>();
  for (const file of read) {
    for (const place of file.strange) into.leave(place, 'This is neither a section nor a setting.', null);
    if (/\.d\/[^/]+\.conf$/.test(file.file))
      into.leave(file.place, 'What a drop-in file changes is not read.', null);
    else if (file.sections.some(({ name }) => name === 'NetDev')) continue;
    else if (
      file.file.endsWith('.link') ||
      (!file.file.endsWith('.network') && !file.sections.some(({ name }) => name === 'Network'))
    )
      readLink(file, into);
    else readNetwork(file, devices, taken, into);
  }
  for (const [name, file] of devices) {
    if (!taken.has(name))
      into.add(
        'interface',
        name,
        'interfaces',
        file.place,
        {
          device: setting(
            file.sections.find((s) => s.name === 'NetDev'),
            'Kind',
          ),
          addresses: [],
        },
        [deviceReference(name, file)],
      );
  }
  return { dialect: 'networkd', files, objects: into.objects, opaque: into.opaque, syntax: null };
}

function everySetting(file: NetworkdFile, except: readonly string[]): Value {
  const fields = new Map<string, Value[]>();
  for (const section of file.sections) {
    if (except.includes(section.name)) continue;
    const known = fields.get(section.name);
    if (known === undefined) fields.set(section.name, [settingsValue(section)]);
    else known.push(settingsValue(section));
  }
  return Object.fromEntries(
    [...fields].map(([name, values]) => [name, values.length === 1 ? values[0]! : values]),
  );
}

function deviceReference(name: string, file: NetworkdFile): Reference {
  return { to: objectId('section', `netdev ${name}`), text: name, place: file.place };
}

function vlanReferences(file: NetworkdFile): Reference[] {
  const peer = file.sections.find(({ name }) => name === 'Peer');
  const name = setting(peer, 'Name');
  return peer === undefined || name === null
    ? []
    : [{ to: objectId('interface', name), text: name, place: placeOfSetting(peer, 'Name', file.tree) }];
}

function readLink(file: NetworkdFile, into: Collection): void {
  const name = setting(
    file.sections.find((section) => section.name === 'Link'),
    'Name',
  );
  into.add(
    'section',
    `link ${file.file}`,
    'links',
    file.place,
    everySetting(file, []),
    name === null ? [] : [{ to: objectId('interface', name), text: name, place: file.place }],
  );
}

function readNetwork(
  file: NetworkdFile,
  devices: ReadonlyMap<string, NetworkdFile>,
  taken: Map<string, string>,
  into: Collection,
): void {
  const match = file.sections.find(({ name }) => name === 'Match');
  const names = (setting(match, 'Name') ?? '').split(/\s+/).filter((name) => name !== '');
  const others = match === undefined ? {} : settingsValue(match, ['Name']);
  if (names.length === 0) names.push(`(${file.file})`);
  for (const name of names) {
    const earlier = taken.get(name);
    if (earlier !== undefined && Object.keys(others).length === 0) {
      into.leave(
        file.place,
        `The file ${earlier} matches ${name} first, so this one does not count for it.`,
        objectId('interface', name),
        false,
      );
      continue;
    }
    if (Object.keys(others).length === 0) taken.set(name, file.file);
    readInterface(name, file, others, devices, into);
  }
}

function readInterface(
  name: string,
  file: NetworkdFile,
  match: { readonly [name: string]: Value },
  devices: ReadonlyMap<string, NetworkdFile>,
  into: Collection,
): void {
  const id = objectId('interface', name);
  const addresses: string[] = [];
  const references: Reference[] = devices.has(name) ? [deviceReference(name, file)] : [];
  const take = (text: string, section: NetworkdSection) => {
    // A bare address is a host address (systemd.network(5), Address=).
    const address = withLength(text, text.includes(':') ? '128' : '32');
    if (address === null)
      into.leave(placeOfSetting(section, 'Address', file.tree), 'This is not an address.', id);
    else addresses.push(address);
  };
  for (const section of file.sections) {
    if (section.name === 'Network') {
      for (const text of section.settings.get('Address') ?? []) take(text, section);
      for (const gateway of section.settings.get('Gateway') ?? []) {
        const destination = familyOfText(gateway) === 6 ? '::/0' : '0.0.0.0/0';
        into.addRoute(
          { destination, gateway, interface: name },
          placeOfSetting(section, 'Gateway', file.tree),
        );
      }
      for (const key of OTHERS) {
        for (const other of section.settings.get(key) ?? [])
          references.push({
            to: objectId('interface', other),
            text: other,
            place: placeOfSetting(section, key, file.tree),
          });
      }
      if (!['no', 'false', '0', 'off', null].includes(setting(section, 'IPMasquerade')))
        into.leave(
          placeOfSetting(section, 'IPMasquerade', file.tree),
          'networkd translates addresses here by itself.',
          id,
        );
    } else if (section.name === 'Address') {
      const text = setting(section, 'Address');
      if (text !== null) take(text, section);
    } else if (section.name === 'Route') readRoute(section, name, into);
    else if (!OF_THE_INTERFACE.has(section.name))
      into.leave(section.place, `The section ${section.name} is not read.`, id);
  }
  const network = file.sections.filter((section) => section.name === 'Network');
  const settings = Object.assign(
    {},
    ...network.map((section) => settingsValue(section, ['Address', 'Gateway', 'Description'])),
  );
  const rest = everySetting(file, ['Match', 'Network', 'Address', 'Route']) as {
    readonly [name: string]: Value;
  };
  const value = {
    addresses: addresses.sort(),
    ...settings,
    ...rest,
    ...(Object.keys(match).length === 0 ? {} : { match }),
  };
  into.add(
    'interface',
    name,
    'interfaces',
    file.place,
    value,
    references,
    setting(network[0], 'Description'),
  );
}

function readRoute(section: NetworkdSection, name: string, into: Collection): void {
  const gateway = setting(section, 'Gateway');
  const destination = setting(section, 'Destination');
  const family = familyOfText(gateway ?? destination ?? '') ?? 4;
  const more = settingsValue(section, ['Gateway', 'Destination', 'Metric', 'Table']);
  const metric = setting(section, 'Metric');
  const table = setting(section, 'Table');
  into.addRoute(
    {
      destination: prefixText(destination ?? 'default', family),
      gateway,
      interface: name,
      ...(metric !== null && /^\d{1,10}$/.test(metric) ? { metric: Number(metric) } : {}),
      ...(table === null ? {} : { table }),
      ...(Object.keys(more).length === 0 ? {} : { more }),
    },
    section.place,
  );
}
