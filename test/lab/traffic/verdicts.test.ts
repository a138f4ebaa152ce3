import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { decide, type Packet } from '#core/traffic';
import { nftables } from '#dialects/nftables';
import { drawPackets } from './draw.ts';
import { Gateway } from './gateway.ts';
import { observe } from './oracle.ts';
import { Random } from './random.ts';
import { filterRuleset } from './rulesets.ts';

/** Checked against the Linux packet filter itself: every packet is sent through the kernel. */
describe('our verdict is the verdict of the Linux packet filter', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('verdicts');
  });
  afterAll(() => gateway?.close());

  const seeds = Array.from({ length: Number(process.env['TUCKPOINT_SEEDS'] ?? 12) }, (_, i) => i + 1);

  it.each(seeds)('for the random filter ruleset %i', (seed) => {
    const random = new Random(seed);
    const ruleset = filterRuleset(random, 8);
    const packets = drawPackets(random, 1500);
    compare(ruleset, packets);
  });

  function compare(ruleset: string, packets: readonly Packet[]): void {
    const read = nftables.read([{ name: 'ruleset.nft', text: ruleset }]);
    expect(read.opaque).toEqual([]);
    const policy = nftables.policy(read)!;
    expect(policy.unread).toEqual([]);
    const observed = observe(gateway, () => gateway.load(ruleset), packets);
    const wrong: unknown[] = [];
    const counts: Record<string, number> = {};
    for (const [i, packet] of packets.entries()) {
      const decision = decide(policy, packet);
      const real = observed[i]!.verdict;
      const key = `${packet.path} ours ${decision.verdict}, real ${real}`;
      counts[key] = (counts[key] ?? 0) + 1;
      const same = real === 'dropped' ? decision.verdict !== 'accept' : decision.verdict === real;
      if (!same) wrong.push({ packet, ours: decision.verdict, real, rule: decision.rule?.origin });
    }
    if (wrong.length > 0) console.log(ruleset, JSON.stringify(wrong.slice(0, 5)), wrong.length, counts);
    expect(wrong.length).toBe(0);
    expect(Object.keys(counts).length).toBeGreaterThan(2);
  }
});
