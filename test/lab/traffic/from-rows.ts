import { type AddressSet, exceptAddresses, type NumberSet } from '#core/address';
import type { ConnectionState, Packet, TrafficRow } from '#core/traffic';
import { LEGS } from './gateway.ts';
import type { Random } from './random.ts';

const STATES: readonly ConnectionState[] = ['new', 'established', 'invalid', 'untracked'];

/** Packets of a row and packets just beside it: each field at a border of the row, inside or one step out. */
export function packetsAround(random: Random, row: TrafficRow, count: number): Packet[] {
  return Array.from({ length: count * 4 }, () => draw(random, row))
    .filter(canBeSent)
    .slice(0, count);
}

/** No two packets of one connection. */
export function unique(packets: readonly Packet[]): Packet[] {
  const seen = new Set<string>();
  return packets.filter((packet) => {
    if (packet.protocol === 1 || packet.protocol === 58) return true;
    const ends = [
      `${packet.source}|${packet.sourcePort}`,
      `${packet.destination}|${packet.destinationPort}`,
    ].sort();
    const key = `${packet.protocol} ${ends.join(' ')}`;
    if (seen.has(key)) return false;
    seen.add(key);
    return true;
  });
}

function draw(random: Random, row: TrafficRow): Packet {
  const { family, path, example } = row;
  const protocol = random.chance(0.15)
    ? random.pick([6, 17, family === 4 ? 1 : 58, 253])
    : number(random, row.protocols, example.protocol, 255);
  const state = random.pick(row.states !== undefined && random.chance(0.85) ? row.states : STATES);
  const icmp = protocol === 1 || protocol === 58;
  const [request, reply] = family === 4 ? [8, 0] : [128, 129];
  return {
    path,
    family,
    inInterface:
      path === 'from'
        ? ''
        : random.chance(0.6) && isLeg(example.inInterface)
          ? example.inInterface
          : random.pick(LEGS),
    outInterface:
      path === 'to'
        ? ''
        : random.chance(0.6) && isLeg(example.outInterface)
          ? example.outInterface
          : random.pick(LEGS),
    source: address(random, row.sources, example.source),
    destination: address(random, row.destinations, example.destination),
    protocol,
    ...(protocol === 6 || protocol === 17
      ? {
          sourcePort: number(random, row.sourcePorts, example.sourcePort ?? 40_000, 65_535),
          destinationPort: number(random, row.destinationPorts, example.destinationPort ?? 40_000, 65_535),
        }
      : {}),
    ...(icmp
      ? { icmpType: state === 'established' || state === 'invalid' ? reply : request, icmpCode: 0 }
      : {}),
    state,
  };
}

const isLeg = (name: string): boolean => LEGS.includes(name as 'lan0');

/** The legs are two different ones, addresses are ordinary ones, states can be brought about. */
function canBeSent(packet: Packet): boolean {
  const { path, inInterface, outInterface, protocol, state } = packet;
  if (path === 'through' && inInterface === outInterface) return false;
  if (![1, 6, 17, 58, 253].includes(protocol) || (protocol === 1) !== (packet.family === 4 && protocol === 1))
    return false;
  if (protocol === 58 && packet.family === 4) return false;
  if (state === 'invalid' && protocol !== 6 && protocol !== 1 && protocol !== 58) return false;
  if (!STATES.includes(state)) return false;
  return ordinary(packet.source) && ordinary(packet.destination);
}

/** No loopback, multicast, link-local or unspecified address: those the kernel treats on its own. */
function ordinary(address: readonly number[]): boolean {
  const top = address[0]!;
  if (address.length === 1)
    return top >>> 24 !== 0 && top >>> 24 !== 127 && top < 0xe0000000 && top >>> 16 !== 0x0aff;
  return top >>> 24 === 0x20 && top !== 0xfd00ffff;
}

function number(random: Random, set: NumberSet | undefined, usual: number, top: number): number {
  if (set === undefined || set.length === 0) return random.chance(0.7) ? usual : random.below(top + 1);
  const at = random.below(set.length);
  const step = random.pick([0, 0, at % 2 === 0 ? 1 : -1, at % 2 === 0 ? -1 : 1]);
  return Math.min(top, Math.max(0, set[at]! + step));
}

function address(random: Random, set: AddressSet | undefined, usual: readonly number[]): readonly number[] {
  if (set === undefined) return usual;
  const sides = random.chance(0.75) ? set : exceptAddresses(set);
  if (sides.ranges.length === 0) return usual;
  const range = random.pick(sides.ranges);
  return random.chance(0.5) ? range.low : range.high;
}
