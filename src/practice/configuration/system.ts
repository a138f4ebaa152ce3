import { createHash } from 'node:crypto';
import type { EstateDevice } from '../estate/devices.ts';
import { zones } from '../estate/zones.ts';
import { networksOf } from './networks.ts';

/** `system.conf`: what the device reads at boot, as sections of `name = value` lines. */
export function systemOf(device: EstateDevice, age: 'newer' | 'older'): string {
  const net = networksOf(device);
  const invented = (what: string) =>
    createHash('sha256').update(`${device.name} ${what}`).digest('hex').slice(0, 32);
  const sections = [
    ['[device]', `name = ${device.name}`, 'domain = brackwater.example', `place = ${net.site.name}`],
    ...device.zones.map((zone) => [
      `[interface ${zones[zone].interface}]`,
      `says = ${zones[zone].says}`,
      'state = up',
      `address = ${net.own(zone)}`,
      `address = ${net.own6(zone)}`,
      `mtu = ${zone === 'cctv' ? 9000 : 1500}`,
    ]),
    ['[route default]', `via = ${net.host('outside', 254)}`, `interface = ${zones.outside.interface}`],
    ['[route 10.0.0.0/8]', `via = ${net.host('outside', 253)}`, `interface = ${zones.outside.interface}`],
    ['[names]', 'server = 10.15.71.53', ...(age === 'newer' ? ['server = 10.15.71.54'] : [])],
    ['[time]', 'server = 10.15.71.5', 'server = 10.15.71.6', 'zone = Etc/UTC'],
    ['[log]', 'collector = 10.15.71.20', 'keep-days = 30'],
    ['[readings]', `community = ${invented('community').slice(0, 12)}`, 'allow = 10.15.99.0/24'],
    ['[person keeper]', `secret-digest = scrypt:${invented('keeper')}`, 'may = upkeep'],
    ['[person watch]', `secret-digest = scrypt:${invented('watch')}`, 'may = read'],
    ...(device.peer === undefined
      ? []
      : [
          [
            '[pair]',
            `peer = ${device.peer}`,
            `leads = ${device.leads ? 'yes' : 'no'}`,
            `shared-secret = ${invented('pair')}`,
          ],
        ]),
  ];
  const head = `; Brackwater Line, ${net.site.name}: settings of ${device.name}. Read at boot.`;
  return `${head}\n\n${sections.map((lines) => lines.join('\n')).join('\n\n')}\n`;
}

/** Names of the interfaces whose section says `state = down`. */
export function interfacesSetDown(system: Uint8Array): string[] {
  const sections = Buffer.from(system).toString('utf8').split(/^\[/m);
  return sections.flatMap((section) => {
    const name = /^interface (\S+)\]/.exec(section)?.[1];
    return name !== undefined && /^state = down$/m.test(section) ? [name] : [];
  });
}
