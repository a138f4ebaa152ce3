import { parseAddress, parseAddresses } from '#core/address';
import type { ConnectionState, Packet, Path } from '#core/traffic';
import { LEGS } from './gateway.ts';
import type { Random } from './random.ts';
import { NETWORKS4, NETWORKS6, PORTS } from './rulesets.ts';

/** First, last and one inner address of each network, and those just outside. */
function borders(nets: readonly string[]): number[][] {
  const found: number[][] = [];
  for (const net of nets) {
    const { low, high } = parseAddresses(net)!.ranges[0]!;
    const last = low.length - 1;
    for (const [base, step] of [
      [low, 0],
      [low, 1],
      [low, -1],
      [high, 0],
      [high, 1],
    ] as const) {
      const moved = [...base];
      moved[last] = (moved[last]! + step) >>> 0;
      found.push(moved);
    }
  }
  return found;
}

const POOL4 = [...borders(NETWORKS4), [...parseAddress('10.200.3.4')!]];
const POOL6 = [...borders(NETWORKS6), [...parseAddress('2001:db8:ff::5')!]];
const PORT_POOL = PORTS.flatMap((ports) => {
  const [low, high = low] = ports.split('-').map(Number);
  return [low! - 1, low!, low! + 1, high!, high! + 1];
});

/** Random packets of the given paths; no two belong to one connection. */
export function drawPackets(
  random: Random,
  count: number,
  states: readonly ConnectionState[] = ['new', 'new', 'established', 'related', 'invalid', 'untracked'],
  paths: readonly Path[] = ['through', 'through', 'to', 'from'],
): Packet[] {
  const packets: Packet[] = [];
  const connections = new Set<string>();
  for (let tries = 0; packets.length < count && tries < count * 20; tries++) {
    const packet = drawPacket(random, random.pick(states), random.pick(paths));
    const one = `${packet.source}|${packet.sourcePort ?? ''}`;
    const other = `${packet.destination}|${packet.destinationPort ?? ''}`;
    const key = [packet.protocol, ...[one, other].sort()].join(' ');
    // ICMP connections are told apart by the identifier, which is the packet's number.
    if (packet.protocol !== 1 && packet.protocol !== 58) {
      if (connections.has(key)) continue;
      connections.add(key);
    }
    packets.push(packet);
  }
  return packets;
}

function drawPacket(random: Random, wanted: ConnectionState, path: Path): Packet {
  const family = random.chance(0.35) ? 6 : 4;
  const pool = family === 4 ? POOL4 : POOL6;
  const [inLeg, outLeg] = random.some(LEGS, 2, 2);
  let state = wanted;
  let protocol = random.pick([6, 6, 17, 17, family === 4 ? 1 : 58, 253]);
  // Only TCP with impossible flags and answers nobody asked for are surely invalid.
  if (state === 'invalid' && protocol !== 6) protocol = family === 4 ? 1 : 58;
  // Errors about a connection are the plainest related packets.
  if (state === 'related') protocol = family === 4 ? 1 : 58;
  const icmp = protocol === 1 || protocol === 58;
  if (icmp && state === 'untracked' && random.chance(0.5)) state = 'new';
  const [request, reply] = family === 4 ? [8, 0] : [128, 129];
  const unreachable = family === 4 ? 3 : 1;
  const icmpType =
    state === 'related' ? unreachable : state === 'established' || state === 'invalid' ? reply : request;
  return {
    path,
    family,
    inInterface: path === 'from' ? '' : inLeg!,
    outInterface: path === 'to' ? '' : outLeg!,
    source: random.pick(pool),
    destination: random.pick(pool),
    protocol,
    ...(protocol === 6 || protocol === 17
      ? {
          sourcePort: random.chance(0.5) ? random.pick(PORT_POOL) : 10_000 + random.below(50_000),
          destinationPort: random.pick(PORT_POOL),
        }
      : {}),
    ...(icmp ? { icmpType, icmpCode: state === 'related' ? random.below(5) : 0 } : {}),
    state,
  };
}
