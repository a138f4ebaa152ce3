import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { nftables } from '#dialects/nftables';
import { Gateway } from './gateway.ts';

/** Checked against the Linux packet filter: what it refuses to load. */
describe('chains are refused where the packet filter refuses them', () => {
  let gateway: Gateway;
  beforeAll(() => {
    gateway = new Gateway('limits');
  });
  afterAll(() => gateway?.close());

  const refusedBy = (load: () => void): boolean => {
    try {
      load();
      return false;
    } catch {
      return true;
    }
  };
  const ours = (text: string) =>
    refusedBy(() => nftables.policy(nftables.read([{ name: 'ruleset.nft', text }])));
  const theirs = (text: string) => refusedBy(() => gateway.load(text));

  const nested = (depth: number, last: string): string => {
    const chains = Array.from({ length: depth }, (_, i) => i + 1)
      .reverse()
      .map((i) => `  chain c${i} { ${i < depth ? `jump c${i + 1}` : last}; };`);
    // Chains must be there before they are called, so loops are closed by a command afterwards.
    return `table inet t {\n${chains.join('\n')}\n  chain base { type filter hook input priority 0; jump c1; };\n}\n`;
  };

  it.each([1, 14, 15, 16, 20])('%i chains deep', (depth) => {
    const text = nested(depth, 'accept');
    expect(ours(text)).toBe(theirs(text));
  });

  it('in a loop', () => {
    const text = `${nested(3, 'accept')}add rule inet t c3 jump c1\n`;
    expect(theirs(text)).toBe(true);
    expect(ours(text)).toBe(true);
  });
});
