import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { compareShares, erfc, fisherExact } from './index.ts';

/** Two rows of a table: [hits, others]. */
const fisher = ([a, b]: [number, number], [c, d]: [number, number]) =>
  fisherExact({ count: a, of: a + b }, { count: c, of: c + d });

describe('Fisher’s exact test', () => {
  it('gives 17/35 for the tea tasting experiment (R. A. Fisher, The Design of Experiments, 1935)', () => {
    expect(fisher([3, 1], [1, 3])).toBeCloseTo(17 / 35, 12);
  });

  it('gives 0.0349… for the whales and sharks of the SciPy manual', () => {
    expect(fisher([8, 2], [1, 5])).toBeCloseTo(0.034965034965, 12);
  });

  it.each<[[number, number], [number, number], number]>([
    [[0, 20], [6, 14], 0.0201960201960202],
    [[0, 200], [5, 195], 0.06093950240841397],
    [[2, 48], [9, 41], 0.05112093374568651],
    [[1, 9], [11, 3], 0.0027594561852200836],
    [[0, 5], [5, 0], 0.007936507936507938],
    [[0, 1_000_000], [7, 999_993], 0.01562483594219365],
    [[3, 100_000], [0, 20_000], 1],
  ])('gives what SciPy 1.17.1 scipy.stats.fisher_exact computes: %j %j', (a, b, p) => {
    expect(fisher(a, b)).toBeCloseTo(p, 9);
  });

  it('agrees with the sum written out in whole numbers', () => {
    const choose = (n: bigint, k: bigint): bigint => (k === 0n ? 1n : (choose(n - 1n, k - 1n) * n) / k);
    const small = fc.nat({ max: 12 });
    fc.assert(
      fc.property(small, small, small, small, (a, b, c, d) => {
        if (a + b === 0 || c + d === 0) return;
        const [r, s, hits] = [BigInt(a + b), BigInt(c + d), BigInt(a + c)];
        const ways = (k: bigint) => choose(r, k) * choose(s, hits - k);
        let extreme = 0n;
        let all = 0n;
        for (let k = hits > s ? hits - s : 0n; k <= r && k <= hits; k++) {
          all += ways(k);
          if (ways(k) <= ways(BigInt(a))) extreme += ways(k);
        }
        expect(fisher([a, b], [c, d])).toBeCloseTo(Number((extreme * 10n ** 12n) / all) / 1e12, 9);
      }),
    );
  });
});

describe('the test of two shares', () => {
  it.each<[[number, number], [number, number], number]>([
    [[10, 1000], [30, 1000], 0.001401301580960214],
    [[15, 100], [25, 100], 0.07709987174354202],
    [[40, 1000], [10, 1000], 1.7336796639612606e-5],
    [[60, 200], [85, 340], 0.2055077742744897],
    [[100, 1000], [100, 1000], 1],
  ])('gives what SciPy 1.17.1 chi2_contingency(correction=False) computes: %j %j', ([a, m], [b, n], p) => {
    const test = compareShares({ count: a, of: m }, { count: b, of: n })!;
    expect(test.by).toBe('two proportions (z, pooled)');
    expect(test.p / p).toBeCloseTo(1, 9);
  });

  it('turns to the exact test where an expected count is below 5', () => {
    expect(compareShares({ count: 0, of: 200 }, { count: 5, of: 200 })?.by).toBe('Fisher exact');
    expect(compareShares({ count: 0, of: 0 }, { count: 5, of: 200 })).toBeNull();
  });

  it.each([
    [0, 1],
    [0.1, 0.8875370839817152],
    [0.5, 0.4795001221869535],
    [1, 0.15729920705028516],
    [2, 0.004677734981047266],
    [3, 2.2090496998585445e-5],
    [5, 1.5374597944280347e-12],
    [10, 2.0884875837625446e-45],
  ])('rests on an error function that equals SciPy 1.17.1 erfc(%d)', (x, value) => {
    expect(erfc(x) / value).toBeCloseTo(1, 11);
  });
});
