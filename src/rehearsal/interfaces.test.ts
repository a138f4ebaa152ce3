import { expect, it } from 'vitest';
import { interfacesNamed } from './interfaces.ts';

// nft(8): iif and oif are given as an interface's name and kept as its number; hooks of ingress name devices.
it.each([
  ['iif "eth0" accept', ['eth0']],
  ['oif != wan0.100 drop', ['wan0.100']],
  ['iif { "a0", b0 } accept', ['a0', 'b0']],
  ['iif vmap { "a0" : jump x, "b0" : drop }', ['a0', 'b0']],
  ['type filter hook ingress device "e1" priority 0', ['e1']],
  ['hook ingress priority 0; devices = { e1, e2 }', ['e1', 'e2']],
  ['define WAN = "ppp0"\niif $WAN accept', ['ppp0']],
  ['iifname "eth0" oifname "eth1" accept', []],
  ['iif lo accept', []],
  ['# the device sends\naccept comment "on device wan0"', []],
])('%s names %j', (text, names) => {
  expect(interfacesNamed([text], false)).toEqual(names);
});

it('names in JSON are found where they can stand', () => {
  const rule = { match: { op: '==', left: { meta: { key: 'iif' } }, right: 'eth0' } };
  const chain = { hook: 'ingress', dev: ['e1', 'e2'] };
  expect(interfacesNamed([JSON.stringify([rule, chain])], true).sort()).toEqual(['e1', 'e2', 'eth0']);
});
