import type { EstateDevice } from '../estate/devices.ts';
import { type Site, siteOf, sites } from '../estate/sites.ts';
import { type Zone, zones } from '../estate/zones.ts';

/** The networks one device stands in, and its own addresses there. */
export interface Networks {
  readonly site: Site;
  network(zone: Zone): string;
  network6(zone: Zone): string;
  /** One address of the zone's IPv4 network. */
  host(zone: Zone, last: number): string;
  /** This device's own address in the zone, with the prefix length behind. */
  own(zone: Zone): string;
  own6(zone: Zone): string;
}

/** Inside: 10.SITE.ZONE.0/24 (RFC 1918) and 2001:db8:SITE:ZONE::/64 (RFC 3849). Outside: RFC 5737. */
export function networksOf(device: EstateDevice): Networks {
  const site = siteOf(device.site);
  const n = (zone: Zone) => zones[zone].number;
  const behindAnother = !device.zones.includes('ticketing') && site.kind === 'harbour';
  const network4 = (zone: Zone) =>
    zone === 'outside' && !behindAnother ? site.outside : `10.${site.number}.${n(zone)}.`;
  return {
    site,
    network: (zone) => `${network4(zone)}0/24`,
    network6: (zone) => `2001:db8:${site.number}:${n(zone)}::/64`,
    host: (zone, last) => `${network4(zone)}${last}`,
    own: (zone) => `${network4(zone)}${device.host}/24`,
    own6: (zone) => `2001:db8:${site.number}:${n(zone)}::${device.host}/64`,
  };
}

/** The same zone at every other site. */
export const elsewhere = (site: Site, zone: Zone): string[] =>
  sites.filter((other) => other !== site).map((other) => `10.${other.number}.${zones[zone].number}.0/24`);
