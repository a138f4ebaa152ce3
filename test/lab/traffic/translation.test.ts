import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { hasAddress, hasNumber, parseAddress } from '#core/address';
import type { Decision, Packet } from '#core/traffic';
import { nftables } from '#dialects/nftables';
import { agrees, compareWithKernel, report } from './compare.ts';
import { drawPackets } from './draw.ts';
import { Gateway, LEGS } from './gateway.ts';
import { natRuleset } from './nat-rulesets.ts';
import type { Observed } from './oracle.ts';
import { Random } from './random.ts';

/** Checked against the Linux packet filter: where packets come out, and under which addresses and ports. */
describe('a translated packet leaves as our policy says', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('translation');
  });
  afterAll(() => gateway?.close());

  it.each([1, 2, 3, 4, 5, 6, 7, 8])('for the random translation ruleset %i', (seed) => {
    const random = new Random(1000 + seed);
    const ruleset = natRuleset(random);
    // Without ports the kernel cannot tell connections apart that share a translated address, and drops the second.
    const packets = drawPackets(random, 1800, ['new'], ['through']).filter(
      (packet) => packet.destinationPort,
    );
    const policy = nftables.policy(nftables.read([{ name: 'nat.nft', text: ruleset }]))!;
    expect(policy.unread).toEqual([]);
    const comparison = compareWithKernel(gateway, () => gateway.load(ruleset), policy, packets, sameOutcome);
    expect(report(ruleset, comparison)).toBe('');
    expect([...comparison.counts.keys()].join(' ')).toMatch(/accept\/accept/);
  });
});

function sameOutcome(ours: Decision, real: Observed, packet: Packet): boolean {
  if (!agrees(ours, real)) return false;
  if (real.verdict !== 'accept') return true;
  const redirected = ours.rewrites.some((rewrite) => rewrite.kind === 'redirect');
  if ((real.at === 'in') !== redirected) return false;
  if (real.source === null || real.destination === null || real.ports === null) return true;
  let [sources, destinations, sourcePorts, ports] = [
    same(packet.source),
    same(packet.destination),
    (port: number) => port === packet.sourcePort,
    (port: number) => port === packet.destinationPort,
  ];
  for (const { kind, addresses, ports: chosen } of ours.rewrites) {
    const within =
      addresses === undefined ? null : (address: readonly number[]) => hasAddress(addresses, address);
    const inPorts = chosen === undefined ? null : (port: number) => hasNumber(chosen, port);
    if (kind === 'snat') {
      sources = within ?? sources;
      // Two connections may not share one address and port, so the kernel may choose another port.
      sourcePorts = inPorts ?? (() => true);
    } else if (kind === 'masquerade') {
      const leg = LEGS.indexOf(packet.outInterface as 'lan0');
      sources = same(parseAddress(packet.family === 4 ? `10.255.${leg}.1` : `fd00:ffff:${leg}::1`)!);
      sourcePorts = inPorts ?? (() => true);
    } else {
      destinations = kind === 'dnat' ? (within ?? destinations) : () => true;
      ports = inPorts ?? ports;
      sourcePorts = () => true;
    }
  }
  const withPorts = packet.protocol === 6 || packet.protocol === 17;
  return (
    sources(real.source) &&
    destinations(real.destination) &&
    (!withPorts || (sourcePorts(real.ports[0]!) && ports(real.ports[1]!)))
  );
}

const same =
  (expected: readonly number[]) =>
  (address: readonly number[]): boolean =>
    address.length === expected.length && address.every((word, i) => word === expected[i]);
