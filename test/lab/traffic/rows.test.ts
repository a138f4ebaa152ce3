import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rowContains, trafficDifference } from '#core/traffic';
import { nftables } from '#dialects/nftables';
import { changed } from './change.ts';
import { drawPackets } from './draw.ts';
import { packetsAround, unique } from './from-rows.ts';
import { Gateway } from './gateway.ts';
import { type Observed, observe } from './oracle.ts';
import { Random } from './random.ts';
import { filterRuleset } from './rulesets.ts';

/** Checked against the Linux packet filter: the same packets through it before and after a change. */
describe('the rows of a traffic difference are what the packet filter treats differently', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('rows');
  });
  afterAll(() => gateway?.close());

  const policyOf = (text: string) => nftables.policy(nftables.read([{ name: 'ruleset.nft', text }]))!;
  const seeds = Array.from({ length: Number(process.env.TUCKPOINT_SEEDS ?? 10) }, (_, i) => i + 1);
  let different = 0;

  it.each(seeds)('for the random pair of rulesets %i', (seed) => {
    const random = new Random(2000 + seed);
    const before = filterRuleset(random, 6);
    let after = changed(random, before);
    let difference = trafficDifference(policyOf(before), policyOf(after));
    // Many a change has no effect; most pairs should have one, and some should not.
    for (let tries = 0; difference.verdict === 'equal' && seed % 5 !== 0 && tries < 10; tries++) {
      after = changed(random, after);
      difference = trafficDifference(policyOf(before), policyOf(after));
    }
    if (difference.verdict === 'different') different++;
    const rows = random.some(difference.rows, 40, 40);
    const packets = unique([
      ...rows.flatMap((row) => packetsAround(random, row, 40)),
      ...drawPackets(random, 500),
    ]);
    const first = observe(gateway, () => gateway.load(before), packets);
    const second = observe(gateway, () => gateway.load(after), packets);
    const wrong: unknown[] = [];
    for (const [i, packet] of packets.entries()) {
      const row = difference.rows.find((candidate) => rowContains(candidate, packet));
      const [was, is] = [first[i]!, second[i]!];
      const fits =
        row === undefined
          ? passes(was) === passes(is)
          : passes(was) === (row.before.verdict === 'accept') &&
            passes(is) === (row.after.verdict === 'accept');
      if (!fits) wrong.push({ packet, was, is, row: row && { before: row.before, after: row.after } });
    }
    expect(wrong.slice(0, 3)).toEqual([]);
    expect(difference.verdict).not.toBe('undecided');
  });

  it('and most of these pairs do differ', () => {
    expect(different).toBeGreaterThan(seeds.length / 2);
  });
});

const passes = (observed: Observed): boolean => observed.verdict === 'accept';
