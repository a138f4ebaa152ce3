import type { EstateDevice } from '../estate/devices.ts';
import { zones } from '../estate/zones.ts';
import { elsewhere, networksOf } from './networks.ts';

/** A named set of the policy. */
export interface NamedSet {
  readonly name: string;
  readonly type: 'ipv4_addr' | 'ipv6_addr' | 'inet_service';
  readonly says: string;
  readonly elements: readonly string[];
}

const four = (name: string, says: string, ...elements: string[]): NamedSet => ({
  name,
  type: 'ipv4_addr',
  says,
  elements,
});
const six = (name: string, says: string, ...elements: string[]): NamedSet => ({
  name,
  type: 'ipv6_addr',
  says,
  elements,
});
const ports = (name: string, says: string, ...elements: string[]): NamedSet => ({
  name,
  type: 'inet_service',
  says,
  elements,
});

/** Object groups that every site carries alike. */
const shared: readonly NamedSet[] = [
  four('workbench', 'where devices are kept from', '10.15.99.10', '10.15.99.11'),
  six('workbench6', 'where devices are kept from', '2001:db8:15:99::10', '2001:db8:15:99::11'),
  four('ticket_servers', 'ticketing, at the depot', '10.15.70.20-10.15.70.23'),
  six('ticket_servers6', 'ticketing, at the depot', '2001:db8:15:70::20', '2001:db8:15:70::21'),
  four('payment_gateways', 'card payments', '203.0.113.40/30', '198.51.100.72/30'),
  four('cctv_recorders', 'recorders, at the depot', '10.15.72.0/28'),
  four('time_servers', 'time', '10.15.71.5', '10.15.71.6'),
  four('name_servers', 'names', '10.15.71.53', '10.15.71.54'),
  six('name_servers6', 'names', '2001:db8:15:71::53', '2001:db8:15:71::54'),
  four('log_collectors', 'logs', '10.15.71.20'),
  four('control_centre', 'fleet control, at the depot', '10.15.74.0/27'),
  four('release_mirror', 'where releases are fetched', '198.51.100.130'),
  four(
    'never_from_outside',
    'sources that cannot come from the carrier',
    '10.0.0.0/8',
    '127.0.0.0/8',
    '224.0.0.0/3',
  ),
  ports('web_ports', 'web', '80', '443'),
  ports('payment_ports', 'card payments', '443', '8443'),
  ports('camera_ports', 'streams', '554', '8000-8010'),
];

/** Sets that are alike at every site, and those with the site's own addresses. */
export function objectsOf(device: EstateDevice): NamedSet[] {
  const { network, network6, host, site } = networksOf(device);
  const own: Partial<Record<(typeof device.zones)[number], NamedSet[]>> = {
    ticketing: [
      four('ticket_desks', 'staffed desks here', `${host('ticketing', 32)}-${host('ticketing', 47)}`),
      four('ticket_gates', 'gates and machines here', `${host('ticketing', 64)}/27`),
      six('ticketing6', 'ticketing here', network6('ticketing')),
    ],
    cctv: [
      four('cameras', 'cameras here', network('cctv')),
      four('cctv_viewers', 'who may look at cameras here', host('upkeep', 20), host('control', 16)),
    ],
    crew: [
      four('crew_wifi', 'crew wireless here', network('crew')),
      six('crew_wifi6', 'crew wireless here', network6('crew')),
    ],
    control: [
      four('control_desks', 'harbour control desks here', `${host('control', 16)}/28`),
      four('other_harbours', 'harbour control elsewhere', ...elsewhere(site, 'control')),
    ],
    radar: [
      four(
        'radar_masts',
        'radar and weather masts here',
        host('radar', 10),
        host('radar', 11),
        host('radar', 12),
      ),
    ],
    office: [
      four('office_lan', 'harbour office here', network('office')),
      four('office_printers', 'printers here', `${host('office', 240)}/29`),
      six('office_lan6', 'harbour office here', network6('office')),
    ],
    passenger: [four('passenger_wifi', 'passenger wireless here', network('passenger'))],
    remote: [
      four('remote_staff', 'staff from afar', network('remote')),
      four('radar_maker', 'the radar maker from afar', host('remote', 200)),
    ],
  };
  return [...shared, ...device.zones.flatMap((zone) => own[zone] ?? [])];
}

export const interfaceOf = (zone: keyof typeof zones): string => zones[zone].interface;
