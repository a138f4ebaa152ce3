/** Names and addresses of everything in a lab; nothing here touches the machine. */

export const LEGS = ['outside', 'inside', 'dmz'] as const;
export type Leg = (typeof LEGS)[number];

/** Addresses of one leg with their prefix lengths left out: the gateway's end and the host behind it. */
export interface LegPlan {
  readonly netns: string;
  readonly gateway4: string;
  readonly host4: string;
  readonly length4: number;
  readonly gateway6: string;
  readonly host6: string;
}

export interface GatewayPlan {
  /** Position in the lab, from 1. */
  readonly number: number;
  readonly hostname: string;
  readonly serial: string;
  /** Network namespace, and also the workbench's end of the management leg. */
  readonly netns: string;
  /** The gateway's address on the management leg, and the workbench's. */
  readonly address: string;
  readonly workbench: string;
  readonly macPrefix: string;
  /** SNMP engine id (RFC 3411 section 5, format 4: administratively assigned text), hex. */
  readonly engine: string;
  readonly legs: Readonly<Record<Leg, LegPlan>>;
}

/** A /29 of 203.0.113.0/24 (RFC 5737) per gateway is the outside leg, so there is room for this many. */
export const MOST_GATEWAYS = 31;

const HOSTNAMES = [
  'gull-quay-fw1',
  'north-mole-fw1',
  'lantern-head-fw1',
  'sandgate-slip-fw1',
  'tidewatch-fw1',
];

const hex = (value: number) => value.toString(16).padStart(2, '0');

/** The plan of gateway `number` (1 to MOST_GATEWAYS) in lab `lab` (0 to 255). */
export function planGateway(lab: number, number: number): GatewayPlan {
  const netns = `lab${lab}-${number}`;
  const management = (number - 1) * 4;
  const outside = (number - 1) * 8;
  const leg = (name: Leg, net4: string, first: number, length4: number, net6: string): LegPlan => ({
    netns: `${netns}-${name}`,
    gateway4: `${net4}.${first + 1}`,
    host4: `${net4}.${first + 2}`,
    length4,
    gateway6: `${net6}::1`,
    host6: `${net6}::2`,
  });
  return {
    number,
    hostname: HOSTNAMES[number - 1] ?? `harbour-${number}-fw1`,
    serial: `GR40-${hex(lab)}${hex(number)}`.toUpperCase(),
    netns,
    address: `10.213.${lab}.${management + 2}`,
    workbench: `10.213.${lab}.${management + 1}`,
    macPrefix: `02:4c:${hex(lab)}:${hex(number)}:00`,
    engine: `8000000004${Buffer.from(`groyne-${lab}-${number}`).toString('hex')}`,
    legs: {
      outside: leg('outside', '203.0.113', outside, 29, `2001:db8:${number}:f`),
      inside: leg('inside', `10.${number}.10`, 0, 24, `2001:db8:${number}:10`),
      dmz: leg('dmz', `10.${number}.20`, 0, 24, `2001:db8:${number}:20`),
    },
  };
}
