import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { decide } from '#core/traffic';
import { nftables } from '#dialects/nftables';
import { compareWithKernel, report } from './compare.ts';
import { drawPackets } from './draw.ts';
import { Gateway } from './gateway.ts';
import { Random } from './random.ts';
import { filterRuleset } from './rulesets.ts';

/** Checked against the Linux packet filter itself: every packet is sent through the kernel. */
describe('our verdict is the verdict of the Linux packet filter', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('verdicts');
  });
  afterAll(() => gateway?.close());

  const seeds = Array.from({ length: Number(process.env.TUCKPOINT_SEEDS ?? 12) }, (_, i) => i + 1);

  it.each(seeds)(
    'for 1,500 packets and the random ruleset %i, read as text and as the kernel lists it',
    (seed) => {
      const random = new Random(seed);
      const ruleset = filterRuleset(random, 8);
      const packets = drawPackets(random, 1500);
      const read = nftables.read([{ name: 'ruleset.nft', text: ruleset }]);
      expect(read.opaque).toEqual([]);
      const policy = nftables.policy(read)!;
      expect(policy.unread).toEqual([]);
      const comparison = compareWithKernel(gateway, () => gateway.load(ruleset), policy, packets);
      expect(report(ruleset, comparison)).toBe('');
      // The check means something only if packets pass and packets do not.
      const keys = [...comparison.counts.keys()].join(' ');
      expect(keys).toMatch(/accept\/accept/);
      expect(keys).toMatch(/drop\/dropped/);

      for (const [name, text] of [
        ['listed.nft', gateway.list(false)],
        ['listed.json', gateway.list(true)],
      ] as const) {
        const listed = nftables.read([{ name, text }]);
        expect(listed.opaque).toEqual([]);
        const again = nftables.policy(listed)!;
        const other = packets.filter(
          (packet) => decide(again, packet).verdict !== decide(policy, packet).verdict,
        );
        expect(other).toEqual([]);
      }
    },
  );

  it.each(['new', 'established', 'related', 'invalid', 'untracked'] as const)(
    'and packets of each kind can be told apart: only %s ones pass where only they may',
    (state) => {
      const hook = (name: string) =>
        `chain ${name} { type filter hook ${name} priority filter; policy drop; ct state ${state} accept; };`;
      const ruleset = `table inet t { ${['forward', 'input', 'output'].map(hook).join(' ')} }`;
      const packets = drawPackets(new Random(77), 1000);
      const policy = nftables.policy(nftables.read([{ name: 'ruleset.nft', text: ruleset }]))!;
      const comparison = compareWithKernel(gateway, () => gateway.load(ruleset), policy, packets);
      expect(report(ruleset, comparison)).toBe('');
      const passed = packets.filter((packet) => packet.state === state).length;
      expect(passed).toBeGreaterThan(50);
      const accepted = [...comparison.counts].filter(([key]) => key.endsWith('/accept'));
      expect(accepted.reduce((sum, [, count]) => sum + count, 0)).toBe(passed);
    },
  );
});
