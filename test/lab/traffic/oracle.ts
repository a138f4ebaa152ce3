import type { Packet } from '#core/traffic';
import { endpointsOf, openerLine, recognise, sendLine } from './frames.ts';
import { type Forwarder, LEGS, OPEN } from './gateway.ts';

/** What the packet filter did with a packet. `dropped` may hide a reject whose answer was filtered too. */
export interface Observed {
  readonly verdict: 'accept' | 'reject' | 'dropped';
  /** The number of the leg it left by, or `in` for the gateway itself. */
  readonly at: string;
  readonly source: readonly number[] | null;
  readonly destination: readonly number[] | null;
  readonly ports: readonly number[] | null;
}

/**
 * Sends every packet once through the ruleset and reports what became of it. Connections of established packets
 * are opened beforehand under a ruleset that lets everything pass.
 */
export function observe(gateway: Forwarder, load: () => void, packets: readonly Packet[]): Observed[] {
  gateway.forgetConnections();
  const openers = packets.map((packet, i) => openerLine(gateway, packet, i)).filter((line) => line !== null);
  if (openers.length > 0) {
    gateway.load(OPEN);
    gateway.exchange(openers);
  }
  load();
  const seen: Observed[] = packets.map(() => ({
    verdict: 'dropped',
    at: '',
    source: null,
    destination: null,
    ports: null,
  }));
  for (const { at, family, protocol, bytes } of gateway.exchange(
    packets.map((packet, i) => sendLine(gateway, packet, i)),
  )) {
    const found = recognise(bytes, family, protocol !== null);
    const packet = found === null ? undefined : packets[found.number];
    if (found === null || packet === undefined || packet.family !== family) continue;
    // Nobody answers an error with an error (RFC 1122, section 3.2.2), so a related packet is itself the arrival.
    if (found.answer && packet.state !== 'related') {
      if (seen[found.number]!.verdict === 'dropped')
        seen[found.number] = { ...seen[found.number]!, verdict: 'reject' };
      continue;
    }
    const expected = packet.path === 'to' ? 'in' : String(LEGS.indexOf(packet.outInterface as 'lan0'));
    // A redirected packet ends at the gateway.
    if (at !== expected && !(packet.path === 'through' && at === 'in')) continue;
    const ends =
      protocol === null ? endpointsOf(bytes, family) : { source: null, destination: null, ports: null };
    seen[found.number] = { verdict: 'accept', at, ...ends };
  }
  return seen;
}
