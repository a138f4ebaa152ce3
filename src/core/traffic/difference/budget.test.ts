import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { decide } from '../decide.ts';
import { policyPair } from '../small-policies.reference.ts';
import { rewriteText } from '../translation.ts';
import { trafficDifference } from './difference.ts';

const NO_SWEEP = { work: 0, nodes: 1_000_000, rows: 100 };

describe.each([4, 6] as const)('past the budget, for IPv%i', (family) => {
  it('the fallback says equal exactly when the full comparison does, and shows a packet otherwise', () => {
    fc.assert(
      fc.property(policyPair(family), ([before, after]) => {
        const full = trafficDifference(before, after);
        const { verdict, unresolved, rows } = trafficDifference(before, after, NO_SWEEP);
        expect(rows).toEqual([]);
        expect(verdict).toBe(full.verdict);
        for (const { packet } of unresolved) {
          const [x, y] = [decide(before, packet!), decide(after, packet!)];
          const text = (d: typeof x) => [d.verdict, ...d.rewrites.map(rewriteText)].join(' ');
          expect(text(x)).not.toBe(text(y));
        }
      }),
      { numRuns: 300 },
    );
  });

  it('with no budget at all nothing is called equal that is not', () => {
    fc.assert(
      fc.property(policyPair(family), ([before, after]) => {
        const { verdict, unresolved } = trafficDifference(before, after, { work: 0, nodes: 0, rows: 0 });
        if (verdict === 'equal') expect(trafficDifference(before, after).verdict).toBe('equal');
        else expect(unresolved.length).toBeGreaterThan(0);
      }),
    );
  });

  it('rows that were cut off are said to be incomplete', () => {
    fc.assert(
      fc.property(policyPair(family), ([before, after]) => {
        const full = trafficDifference(before, after);
        const cut = trafficDifference(before, after, { work: 1e9, nodes: 1e6, rows: 1 });
        expect(cut.verdict).toBe(full.verdict);
        if (cut.rows.length < full.rows.length) expect(cut.changes.some((c) => !c.complete)).toBe(true);
      }),
    );
  });
});
