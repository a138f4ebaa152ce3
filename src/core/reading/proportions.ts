/** So many of so many. */
export interface Share {
  readonly count: number;
  readonly of: number;
}

export interface ProportionTest {
  /** Two-sided probability of a difference at least as large if nothing had changed. */
  readonly p: number;
  readonly by: 'Fisher exact' | 'two proportions (z, pooled)';
}

/**
 * Do two shares differ? The pooled two-proportion z test where all four expected counts are at least 5 (Cochran's
 * rule), Fisher's exact test otherwise. Null when either share is of nothing.
 */
export function compareShares(before: Share, after: Share): ProportionTest | null {
  const total = before.of + after.of;
  if (before.of <= 0 || after.of <= 0) return null;
  const hits = before.count + after.count;
  const expected = [before.of, after.of].flatMap((of) => [
    (of * hits) / total,
    (of * (total - hits)) / total,
  ]);
  if (Math.min(...expected) < 5) return { p: fisherExact(before, after), by: 'Fisher exact' };
  const pooled = hits / total;
  const error = Math.sqrt(pooled * (1 - pooled) * (1 / before.of + 1 / after.of));
  const z = (after.count / after.of - before.count / before.of) / error;
  return { p: erfc(Math.abs(z) / Math.SQRT2), by: 'two proportions (z, pooled)' };
}

/**
 * Two-sided p of Fisher's exact test: the sum over all tables with these margins that are no likelier than the one
 * seen (Agresti 1992, section 2.1, method b). Weights are taken relative to the likeliest table, from the ratio of
 * neighbours in the hypergeometric distribution, so that large counts lose no precision.
 */
export function fisherExact(a: Share, b: Share): number {
  const hits = a.count + b.count;
  const lowest = Math.max(0, hits - b.of);
  const highest = Math.min(a.of, hits);
  const mode = Math.min(highest, Math.max(lowest, Math.floor(((a.of + 1) * (hits + 1)) / (a.of + b.of + 2))));
  const up = (k: number) => ((a.of - k) * (hits - k)) / ((k + 1) * (b.of - hits + k + 1));
  const weights = new Map<number, number>([[mode, 1]]);
  for (let k = mode, w = 1; k < highest && w > 1e-290; k++) {
    w *= up(k);
    weights.set(k + 1, w);
  }
  for (let k = mode, w = 1; k > lowest && w > 1e-290; k--) {
    w /= up(k - 1);
    weights.set(k - 1, w);
  }
  // Equal probabilities must count as equal despite rounding; a.count beyond the map is as good as impossible.
  const limit = (weights.get(a.count) ?? 0) * (1 + 1e-7);
  const all = [...weights.values()].sort((x, y) => x - y);
  const sum = (values: readonly number[]) => values.reduce((total, w) => total + w, 0);
  return Math.min(1, sum(all.filter((w) => w <= limit)) / sum(all));
}

/** The complementary error function: power series below 2, continued fraction (Lentz) above. For x >= 0. */
export function erfc(x: number): number {
  if (x < 2) {
    let term = x;
    let series = x;
    for (let n = 1; Math.abs(term) > 1e-17 * Math.abs(series); n++) {
      term *= -(x * x) / n;
      series += term / (2 * n + 1);
      if (n > 200) break;
    }
    return 1 - (2 / Math.sqrt(Math.PI)) * series;
  }
  let fraction = 0;
  for (let n = 120; n > 0; n--) fraction = n / 2 / (x + fraction);
  return Math.exp(-x * x) / Math.sqrt(Math.PI) / (x + fraction);
}
