import { overlapFindings, type Policy, relevantRules, reviewPolicy, trafficDifference } from '#core/traffic';
import { doubled, edited } from './edits.ts';
import { seeded } from './random.ts';
import { policyOf, type Shape } from './shapes.ts';
import type { Prover } from './solver.ts';

/** Median, nine tenths, ninety-nine hundredths and the largest of some figures. */
export interface Spread {
  readonly median: number;
  readonly p90: number;
  readonly p99: number;
  readonly max: number;
}

export interface Figures {
  readonly rules: number;
  readonly trials: number;
  /** Milliseconds, from rules in memory. */
  readonly load: number;
  /** The first comparison of two equal policies that were made apart: it makes what rules are told apart by. */
  readonly firstIdentical: number;
  /** The same comparison again. */
  readonly identical: number;
  /** A rule doubled behind itself: nothing changes. */
  readonly equalEdit: Spread;
  readonly edits: Spread;
  /** Share of edits with at most ten changes to read. */
  readonly fewChanges: number;
  readonly rows: Spread;
  /** How many comparisons ran out of budget and said so. */
  readonly unresolved: number;
  /** Of comparisons that took longer than a second, how many gave rows instead of a budget answer. */
  readonly slowWithoutWord: number;
}

/** How many times faster than Z3, on the same pairs in the same run. */
export interface Ratio {
  readonly median: number;
  readonly least: number;
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
  return { median: at(0.5), p90: at(0.9), p99: at(0.99), max: sorted.at(-1) ?? 0 };
}

/** Repeats of each comparison; the shortest counts, since the machine is rarely alone. */
const REPEATS = 3;

function shortest(run: () => unknown): number {
  return Math.min(...Array.from({ length: REPEATS }, () => timed(run)));
}

/** The pair of policies of a trial: one to five edits apart. */
function pairOf(policy: Policy, shape: Shape, trial: number) {
  const random = seeded(1000 + trial);
  const after = edited(policy, shape, 1 + random.below(5), random);
  loadOf(after);
  return { after, random };
}

export function measure(shape: Shape, rules: number, trials: number): Figures {
  const policy = policyOf(shape, rules, 1);
  const load = spread(
    Array.from({ length: 5 }, () => structuredClone(policy)).map((p) => timed(() => loadOf(p))),
  );
  loadOf(policy);
  const copy = structuredClone(policy);
  loadOf(copy);
  const firstIdentical = timed(() => trafficDifference(policy, copy));
  const identical = shortest(() => trafficDifference(policy, copy));
  const equalEdits: number[] = [];
  const edits: number[] = [];
  const rows: number[] = [];
  let few = 0;
  let unresolved = 0;
  let slow = 0;
  for (let trial = 0; trial < trials; trial++) {
    const { after, random } = pairOf(policy, shape, trial);
    let difference = trafficDifference(policy, after);
    const ms = shortest(() => (difference = trafficDifference(policy, after)));
    edits.push(ms);
    rows.push(difference.rows.length);
    if (difference.changes.length <= 10) few++;
    if (difference.unresolved.length > 0) unresolved++;
    else if (ms > 1000) slow++;
    const same = doubled(policy, random);
    loadOf(same);
    equalEdits.push(shortest(() => trafficDifference(policy, same)));
  }
  return {
    rules,
    trials,
    load: load.median,
    firstIdentical,
    identical,
    equalEdit: spread(equalEdits),
    edits: spread(edits),
    fewChanges: few / trials,
    rows: spread(rows),
    unresolved,
    slowWithoutWord: slow,
  };
}

/** The whole question put to Z3, and the question about our pruned lists only. */
export async function besideProver(shape: Shape, rules: number, trials: number, prover: Prover) {
  const policy = policyOf(shape, rules, 1);
  loadOf(policy);
  const whole: Asked[] = [];
  const near: Asked[] = [];
  for (let trial = 0; trial < trials; trial++) {
    const { after } = pairOf(policy, shape, trial);
    const { verdict } = trafficDifference(policy, after);
    const ours = shortest(() => trafficDifference(policy, after));
    const relevant = relevantRules(policy, after);
    near.push({ ours, verdict, ...(await prover.different(relevant.before, relevant.after)) });
    if (trial < Math.ceil(trials / 2))
      whole.push({ ours, verdict, ...(await prover.different(policy, after)) });
  }
  return { rules, whole: ratioOf(whole), near: ratioOf(near) };
}

/** Milliseconds for the findings about pairs of rules alone, and for all findings. */
export function measurePairs(shape: Shape, rules: number): number {
  const policy = policyOf(shape, rules, 1);
  loadOf(policy);
  return shortest(() => overlapFindings(policy));
}

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

function ratioOf(asked: readonly Asked[]): Ratio {
  const expected = (verdict: string) => (verdict === 'equal' ? 'unsat' : 'sat');
  const times = asked.map((a) => a.ms / a.ours);
  return {
    median: spread(times).median,
    least: Math.min(...times),
    ours: spread(asked.map((a) => a.ours)).median,
    theirs: spread(asked.map((a) => a.ms)).median,
    asked: asked.length,
    gaveUp: asked.filter((a) => a.answer === 'unknown').length,
    disagreed: asked.filter(
      (a) => a.answer !== 'unknown' && a.verdict !== 'undecided' && a.answer !== expected(a.verdict),
    ).length,
  };
}

export function loadOf(policy: Policy): void {
  trafficDifference(policy, policy);
}

export function timed(run: () => unknown): number {
  const start = performance.now();
  run();
  return performance.now() - start;
}
