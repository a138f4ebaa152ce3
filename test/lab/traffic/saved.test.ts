import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { iptables } from '#dialects/iptables';
import { compareWithKernel, report } from './compare.ts';
import { drawPackets } from './draw.ts';
import { Gateway } from './gateway.ts';
import { Random } from './random.ts';
import { savedRuleset } from './saved-rulesets.ts';

/** Checked against the Linux packet filter, loaded by iptables-restore. */
describe('saved iptables rules do what the packet filter does with them', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('saved');
  });
  afterAll(() => gateway?.close());

  const seeds = Array.from({ length: Number(process.env.TUCKPOINT_SEEDS ?? 10) }, (_, i) => i + 1);

  it.each(seeds)('for the random rules %i', (seed) => {
    const random = new Random(3000 + seed);
    const family = seed % 3 === 0 ? 6 : 4;
    const saved = savedRuleset(random, family);
    const packets = drawPackets(random, 3000).filter((packet) => packet.family === family);
    const read = iptables.read([{ name: family === 4 ? 'rules.v4' : 'rules.v6', text: saved }]);
    const policy = iptables.policy(read)!;
    expect(read.opaque).toEqual([]);
    expect(policy.unread).toEqual([]);
    const comparison = compareWithKernel(gateway, () => gateway.restore(family, saved), policy, packets);
    expect(report(saved, comparison)).toBe('');
  });
});
