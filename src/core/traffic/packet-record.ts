import { type Address, familyOf, formatAddress, parseAddress } from '#core/address';
import { type Place, TuckpointError } from '#core/errors';
import { hasPorts, icmpProtocol, type Packet } from './packet.ts';
import type { ConnectionState, Path } from './policy.ts';
import { icmpTypeNumber, icmpTypeText, protocolNumber, protocolText } from './words.ts';

/** A packet as plain data, for JSON. Names where there are names, numbers where there are not. */
export interface PacketRecord {
  readonly path: Path;
  readonly inInterface?: string;
  readonly outInterface?: string;
  readonly source: string;
  readonly destination: string;
  readonly protocol: string;
  readonly sourcePort?: number;
  readonly destinationPort?: number;
  /** A name or number of an ICMP type. */
  readonly icmp?: string;
  readonly icmpCode?: number;
  readonly state: ConnectionState;
  readonly conditions?: readonly string[];
}

export function packetRecord(packet: Packet): PacketRecord {
  const { path, family, protocol, state } = packet;
  return {
    path,
    ...(path !== 'from' && { inInterface: packet.inInterface }),
    ...(path !== 'to' && { outInterface: packet.outInterface }),
    source: formatAddress(packet.source),
    destination: formatAddress(packet.destination),
    protocol: protocolText(protocol),
    ...(hasPorts(protocol) && {
      sourcePort: packet.sourcePort ?? 0,
      destinationPort: packet.destinationPort ?? 0,
    }),
    ...(protocol === icmpProtocol(family) && {
      icmp: icmpTypeText(packet.icmpType ?? 0, family).replace(/^type /, ''),
      icmpCode: packet.icmpCode ?? 0,
    }),
    state,
    ...((packet.conditions?.length ?? 0) > 0 && { conditions: packet.conditions! }),
  };
}

const PATHS: readonly string[] = ['through', 'to', 'from'];
const STATES: readonly string[] = ['new', 'established', 'related', 'invalid', 'untracked'];

/**
 * Reads a packet from plain data. `path` is `through` and `state` is `new` when absent; the family comes from the addresses.
 * @throws TuckpointError `traffic/bad-packet`, with the field in its place.
 */
export function readPacket(record: unknown, place: Place = {}): Packet {
  const fail = (field: string, message: string, advice?: string): never => {
    throw new TuckpointError('traffic/bad-packet', message, {
      place: { ...place, field },
      ...(advice !== undefined && { advice }),
    });
  };
  if (typeof record !== 'object' || record === null || Array.isArray(record)) {
    return fail('', 'a packet must be an object with at least source, destination and protocol.');
  }
  const fields = record as Record<string, unknown>;
  const oneOf = <T extends string>(field: string, allowed: readonly string[], absent: T): T => {
    const value = fields[field] ?? absent;
    if (!allowed.includes(String(value)))
      fail(field, `${quoted(value)} is not one of ${allowed.join(', ')}.`);
    return value as T;
  };
  const address = (field: string): Address => {
    const value = fields[field];
    const read = typeof value === 'string' ? parseAddress(value) : undefined;
    return (
      read ??
      fail(field, `${quoted(value)} is not an IPv4 or IPv6 address.`, 'Write it as 10.1.2.3 or 2001:db8::1.')
    );
  };
  const number = (field: string, top: number): number | undefined => {
    const value = fields[field];
    if (value === undefined) return undefined;
    const isWhole = typeof value === 'number' && Number.isInteger(value) && value >= 0 && value <= top;
    return isWhole ? value : fail(field, `${quoted(value)} is not a whole number from 0 to ${top}.`);
  };
  const name = (field: string, absent: boolean): string => {
    const value = fields[field] ?? '';
    if (typeof value !== 'string') fail(field, `${quoted(value)} is not an interface name.`);
    return absent ? '' : (value as string);
  };

  const path = oneOf<Path>('path', PATHS, 'through');
  const source = address('source');
  const destination = address('destination');
  const family = familyOf(source);
  if (familyOf(destination) !== family) {
    fail('destination', 'source and destination are not of the same IP version.');
  }
  const protocol =
    protocolNumber(String(fields.protocol ?? '')) ??
    fail('protocol', `${quoted(fields.protocol)} is no protocol known by name, nor a number from 0 to 255.`);
  const sourcePort = number('sourcePort', 0xffff);
  const destinationPort = number('destinationPort', 0xffff);
  const icmpType =
    fields.icmp === undefined
      ? number('icmpType', 255)
      : (icmpTypeNumber(String(fields.icmp), family) ??
        fail('icmp', `${quoted(fields.icmp)} is no ICMP type known by name, nor a number from 0 to 255.`));
  const icmpCode = number('icmpCode', 255);
  const conditions = fields.conditions ?? [];
  if (!Array.isArray(conditions) || conditions.some((c) => typeof c !== 'string')) {
    fail('conditions', 'conditions must be a list of names.');
  }
  return {
    path,
    family,
    inInterface: name('inInterface', path === 'from'),
    outInterface: name('outInterface', path === 'to'),
    source,
    destination,
    protocol,
    ...(sourcePort !== undefined && { sourcePort }),
    ...(destinationPort !== undefined && { destinationPort }),
    ...(icmpType !== undefined && { icmpType }),
    ...(icmpCode !== undefined && { icmpCode }),
    state: oneOf<ConnectionState>('state', STATES, 'new'),
    ...((conditions as string[]).length > 0 && { conditions: conditions as string[] }),
  };
}

function quoted(value: unknown): string {
  return value === undefined ? 'nothing' : JSON.stringify(value);
}

/** One packet in one line: `tcp 10.0.0.1:40000 on lan0 -> 192.0.2.10:443 on wan0, new`. */
export function packetText(packet: Packet): string {
  const r = packetRecord(packet);
  const side = (address: string, port: number | undefined, name: string | undefined) => {
    const host = port !== undefined && address.includes(':') ? `[${address}]` : address;
    return `${host}${port === undefined ? '' : `:${port}`}${name === undefined || name === '' ? '' : ` on ${name}`}`;
  };
  const icmp = r.icmp === undefined ? '' : ` ${r.icmp}${r.icmpCode === 0 ? '' : ` code ${r.icmpCode}`}`;
  const conditions = r.conditions === undefined ? '' : `, with ${r.conditions.join(' and ')}`;
  return `${r.protocol}${icmp} ${side(r.source, r.sourcePort, r.inInterface)} -> ${side(r.destination, r.destinationPort, r.outInterface)}, ${r.state}${conditions}`;
}
