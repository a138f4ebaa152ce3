import { hasAddress, hasNumber } from '#core/address';
import { hasPorts, icmpProtocol, type Packet } from './packet.ts';
import type { InterfaceTerm, TrafficRow } from './row.ts';

/** Whether a packet belongs to a row. Conditions that the packet does not list do not hold. */
export function rowContains(row: TrafficRow, packet: Packet): boolean {
  const ports = hasPorts(packet.protocol);
  const icmp = packet.protocol === icmpProtocol(packet.family);
  return (
    row.path === packet.path &&
    row.family === packet.family &&
    (row.path === 'from' || inTerms(row.inInterfaces, packet.inInterface)) &&
    (row.path === 'to' || inTerms(row.outInterfaces, packet.outInterface)) &&
    (row.sources === undefined || hasAddress(row.sources, packet.source)) &&
    (row.destinations === undefined || hasAddress(row.destinations, packet.destination)) &&
    (row.protocols === undefined || hasNumber(row.protocols, packet.protocol)) &&
    (row.sourcePorts === undefined || (ports && hasNumber(row.sourcePorts, packet.sourcePort ?? 0))) &&
    (row.destinationPorts === undefined ||
      (ports && hasNumber(row.destinationPorts, packet.destinationPort ?? 0))) &&
    (row.icmp === undefined ||
      (icmp && hasNumber(row.icmp, (packet.icmpType ?? 0) * 256 + (packet.icmpCode ?? 0)))) &&
    (row.states?.includes(packet.state) ?? true) &&
    row.conditions.every(({ name, holds }) => (packet.conditions?.includes(name) ?? false) === holds)
  );
}

function inTerms(terms: readonly InterfaceTerm[] | undefined, name: string): boolean {
  if (terms === undefined) return true;
  return terms.some(({ text, single, but }) => {
    if (single) return text === name;
    const excluded = but.some((b) => (b.endsWith('*') ? name.startsWith(b.slice(0, -1)) : b === name));
    return name.startsWith(text) && !excluded;
  });
}
