import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { rowContains } from '../contains.ts';
import { policyPair } from '../small-policies.reference.ts';
import { trafficDifference } from './difference.ts';
import { relevantRules } from './relevant.ts';

describe.each([4, 6] as const)('the rules near a change, for IPv%i', (family) => {
  it('make the same difference as all rules', () => {
    fc.assert(
      fc.property(policyPair(family), ([before, after]) => {
        const whole = trafficDifference(before, after);
        const near = relevantRules(before, after);
        const part = trafficDifference(near.before, near.after);
        expect(part.verdict).toBe(whole.verdict);
        for (const { example } of whole.rows)
          expect(part.rows.filter((r) => rowContains(r, example))).toHaveLength(1);
        for (const { example } of part.rows)
          expect(whole.rows.filter((r) => rowContains(r, example))).toHaveLength(1);
      }),
      { numRuns: 100 },
    );
  });
});
