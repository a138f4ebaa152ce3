import { relevantRules, reviewPolicy, trafficDifference } from '#core/traffic';
import { doubled, edited } from './edits.ts';
import { seeded } from './random.ts';
import { policyOf, type Shape } from './shapes.ts';
import type { Prover } from './solver.ts';

/** Median, nine tenths and the largest of some figures. */
export interface Spread {
  readonly median: number;
  readonly p90: number;
  readonly max: number;
}

export interface Figures {
  readonly shape: Shape;
  readonly rules: number;
  readonly trials: number;
  /** Milliseconds. */
  readonly load: number;
  readonly identical: number;
  readonly equalEdit: Spread;
  readonly edits: Spread;
  /** Share of edits with at most ten changes to read. */
  readonly fewChanges: number;
  readonly rows: Spread;
  /** How many comparisons ran out of budget and said so. */
  readonly unresolved: number;
  readonly peakMegabytes: number;
  /** How many times faster than Z3, on the same pairs: median of the ratios. Undefined where Z3 was not asked. */
  readonly z3Whole: Ratio | undefined;
  /** The same with Z3 given only the rules near the change. */
  readonly z3Near: Ratio | undefined;
}

export interface Ratio {
  readonly times: number;
  readonly ours: number;
  readonly theirs: number;
  readonly asked: number;
  /** How often Z3 reached its time limit: the ratio is then a lower bound. */
  readonly gaveUp: number;
  /** How often both answered and disagreed: must be 0. */
  readonly disagreed: number;
}

export function spread(values: readonly number[]): Spread {
  const sorted = [...values].sort((a, b) => a - b);
  const at = (share: number) => sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))] ?? 0;
  return { median: at(0.5), p90: at(0.9), max: sorted.at(-1) ?? 0 };
}

export async function measure(
  shape: Shape,
  rules: number,
  trials: number,
  prover: Prover | undefined,
  proverTrials: number,
): Promise<Figures> {
  const policy = policyOf(shape, rules, 1);
  const load = spread(Array.from({ length: 3 }, () => timed(() => loadOf(structuredClone(policy))))).median;
  loadOf(policy);
  const copy = structuredClone(policy);
  loadOf(copy);
  const identical = spread(
    Array.from({ length: 9 }, () => timed(() => trafficDifference(policy, copy))),
  ).median;
  const equalEdits: number[] = [];
  const edits: number[] = [];
  const rows: number[] = [];
  let few = 0;
  let unresolved = 0;
  let peak = 0;
  for (let trial = 0; trial < trials; trial++) {
    const random = seeded(1000 + trial);
    const after = edited(policy, shape, 1 + random.below(5), random);
    loadOf(after);
    let difference = trafficDifference(policy, after);
    edits.push(timed(() => (difference = trafficDifference(policy, after))));
    rows.push(difference.rows.length);
    if (difference.changes.length <= 10) few++;
    if (difference.unresolved.length > 0) unresolved++;
    const same = doubled(policy, random);
    loadOf(same);
    equalEdits.push(timed(() => trafficDifference(policy, same)));
    peak = Math.max(peak, process.memoryUsage().rss);
  }
  const whole: Asked[] = [];
  const near: Asked[] = [];
  for (let trial = 0; prover !== undefined && trial < proverTrials; trial++) {
    const random = seeded(1000 + trial);
    const after = edited(policy, shape, 1 + random.below(5), random);
    loadOf(after);
    const ours = timed(() => trafficDifference(policy, after));
    const verdict = trafficDifference(policy, after).verdict;
    const relevant = relevantRules(policy, after);
    whole.push({ ours, verdict, ...(await prover.different(policy, after)) });
    near.push({ ours, verdict, ...(await prover.different(relevant.before, relevant.after)) });
  }
  return {
    shape,
    rules,
    trials,
    load,
    identical,
    equalEdit: spread(equalEdits),
    edits: spread(edits),
    fewChanges: few / trials,
    rows: spread(rows),
    unresolved,
    peakMegabytes: peak / 1e6,
    z3Whole: ratioOf(whole),
    z3Near: ratioOf(near),
  };
}

/** Milliseconds for the pairwise findings and the reached/redundant findings of one policy together. */
export function measureReview(shape: Shape, rules: number): number {
  const policy = policyOf(shape, rules, 1);
  loadOf(policy);
  return timed(() => reviewPolicy(policy));
}

/** Milliseconds per number of edits. */
export function measureEdits(shape: Shape, rules: number, edits: number, trials: number): number {
  const policy = policyOf(shape, rules, 1);
  loadOf(policy);
  const times: number[] = [];
  for (let trial = 0; trial < trials; trial++) {
    const after = edited(policy, shape, edits, seeded(5000 + trial));
    loadOf(after);
    times.push(timed(() => trafficDifference(policy, after)));
  }
  return spread(times).median;
}

interface Asked {
  readonly ours: number;
  readonly verdict: string;
  readonly ms: number;
  readonly answer: string;
}

function ratioOf(asked: readonly Asked[]): Ratio | undefined {
  if (asked.length === 0) return undefined;
  const expected = (verdict: string) => (verdict === 'equal' ? 'unsat' : 'sat');
  return {
    times: spread(asked.map((a) => a.ms / a.ours)).median,
    ours: spread(asked.map((a) => a.ours)).median,
    theirs: spread(asked.map((a) => a.ms)).median,
    asked: asked.length,
    gaveUp: asked.filter((a) => a.answer === 'unknown').length,
    disagreed: asked.filter(
      (a) => a.answer !== 'unknown' && a.verdict !== 'undecided' && a.answer !== expected(a.verdict),
    ).length,
  };
}

function loadOf(policy: Parameters<typeof trafficDifference>[0]): void {
  trafficDifference(policy, policy);
}

function timed(run: () => unknown): number {
  const start = performance.now();
  run();
  return performance.now() - start;
}
