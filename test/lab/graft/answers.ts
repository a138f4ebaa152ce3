import type { ConnectionState, Packet } from '#core/traffic';
import type { Random } from '../traffic/random.ts';

/** Errors that the kernel takes for part of the connection they are about (RFC 792; RFC 4443 section 2.1). */
const ERRORS = { 4: [3, 11, 12], 6: [1, 2, 3, 4] } as const;
/** Echo request and reply. */
const ECHO = { 4: [8, 0], 6: [128, 129] } as const;

/**
 * The same packets as parts of connections that were opened beforehand: answers, and errors about them; and as ICMP
 * echo. So that they stand at the same borders, all else stays.
 */
export function asAnswers(random: Random, packets: readonly Packet[]): Packet[] {
  return packets.flatMap((packet) => [
    answer(packet),
    icmp(packet, 'related', random.pick(ERRORS[packet.family])),
    icmp(packet, 'new', ECHO[packet.family][0]),
    icmp(packet, 'established', ECHO[packet.family][1]),
  ]);
}

function answer(packet: Packet): Packet {
  const isIcmp = packet.protocol === 1 || packet.protocol === 58;
  return isIcmp ? icmp(packet, 'established', ECHO[packet.family][1]) : { ...packet, state: 'established' };
}

function icmp(packet: Packet, state: ConnectionState, icmpType: number): Packet {
  const { sourcePort: _s, destinationPort: _d, ...rest } = packet;
  return { ...rest, protocol: packet.family === 4 ? 1 : 58, icmpType, icmpCode: 0, state };
}
