import { readFileSync } from 'node:fs';
import { SAVED } from '../../src/dialects/iptables/sound.reference.ts';
import { LISTING } from '../../src/dialects/nftables/listing.reference.ts';
import { SOUND } from '../../src/dialects/nftables/sound.reference.ts';

export const NFTABLES = [...SOUND, LISTING];

/** Sound texts to begin from, by reader. The published ones are those of the tests beside the readers. */
const page = readFileSync(new URL('../../docs/mapping.md', import.meta.url), 'utf8');
const block = (language: string) => new RegExp(`\`\`\`${language}\n([\\s\\S]*?)\`\`\``).exec(page)?.[1] ?? '';

export const MAPPING = block('yaml');
export const MAPPED = block('groyne');

export const IPTABLES = [SAVED];

/** The examples of the documents, as the reader's own tests hold them. */
export const IETF = ['rfc8343-8344', 'rfc8349-7951', 'rfc8519'].flatMap((name) => {
  const file = new URL(`../../src/dialects/ietf/${name}.reference.ts`, import.meta.url);
  return [...readFileSync(file, 'utf8').matchAll(/= `([^`]*)`;/g)].map(([, text]) => text ?? '');
});

export const IFUPDOWN = [
  `source /etc/network/interfaces.d/*
auto lo wan0
allow-hotplug quay0
iface lo inet loopback
iface wan0 inet static
    address 203.0.113.2
    netmask 255.255.255.248
    gateway 203.0.113.1
iface wan0 inet6 static
    address 2001:db8:1::2/64
iface leg inet static
    mtu 1400
iface quay0 inet static inherits leg
    address 10.1.0.1/16
    up ip route add 10.3.0.0/16 via 10.1.0.254 \\
       metric 50
    down ip route del 10.3.0.0/16 via 10.1.0.254
iface br0 inet static
   bridge_ports quay0 mole0
mapping eth*
    script /bin/choose
    map a b
`,
];

export const NETWORKD = [
  '[NetDev]\nName=bridge0\nKind=bridge\n',
  '[Match]\nName=bridge0\n\n[Network]\nDescription=Quay\nAddress=10.1.0.1/16\nAddress=2001:db8:1::1/64\nGateway=10.1.0.254\nDNS=10.1.0.53\n',
  '[Match]\nName=mole0\n\n[Network]\nVLAN=vlan20\nDHCP=yes\nIPMasquerade=ipv4\n\n[Address]\nAddress=10.2.0.1/16\n\n[Route]\nDestination=10.3.0.0/16\nGateway=10.2.0.254\nMetric=50\n\n[RoutingPolicyRule]\nFrom=10.2.0.0/16\nTable=7\n',
  '[Match]\nMACAddress=00:00:5e:00:53:01\n\n[Link]\nName=wan0\n',
];

export const TREE = [
  '; harbour\n[Match]\nName=eth0\n\n[Network]\nAddress = 10.1.0.1/24\nDNS=10.1.0.53 \\\n  10.1.0.54\n',
  '<?xml version="1.0"?>\n<gate xmlns="urn:x" mode=\'safe\'>\n  <!-- a -->\n  <port n="1">eth&amp;0</port>\n  <empty/>\n</gate>\n',
  '{\n  "a": [1, {"b": "x\\ny"}],\n  "c": null\n}\n',
  'gate quay {\n  port "eth 0" { up; mtu 1500; } # leg\n  note don\'t;\n}\n',
  'port eth0\n  address 10.1.0.1/24\n  zone inside\n!\nport eth1\n\taddress 10.2.0.1/24\n',
  MAPPED,
];
