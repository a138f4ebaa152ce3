import type { Figures, Ratio } from './measure.ts';
import type { Shape } from './shapes.ts';

/** Everything measured of one shape. */
export interface ShapeResult {
  readonly shape: Shape;
  readonly figures: readonly Figures[];
  readonly besideProver: readonly { readonly rules: number; readonly whole: Ratio; readonly near: Ratio }[];
  readonly growthWithEdits: readonly (readonly [edits: number, ms: number])[];
  /** Milliseconds. */
  readonly pairFindings: number;
  /** All findings, of a thousand rules. */
  readonly review: number;
  readonly reading: Record<string, number>;
  readonly megabytes: number;
  /** How busy the machine was besides, as the load average of the last minute. */
  readonly machineLoad: number;
}

/** A goal at 10,000 rules, warm, with a handful of edits. */
export interface Judged {
  readonly goal: string;
  readonly value: number;
  readonly limit: number;
  readonly met: boolean;
}

const isWide = (shape: Shape) => shape === 'wide' || shape === 'services';

/** The goals of one shape, each beside what was measured. */
export function judge(result: ShapeResult): Judged[] {
  const { shape, figures, besideProver, pairFindings, reading, megabytes } = result;
  const at = figures.find((f) => f.rules === 10_000) ?? figures[0]!;
  const beside = besideProver.find((f) => f.rules === 10_000) ?? besideProver[0]!;
  const atMost = (goal: string, value: number, limit: number): Judged => ({
    goal,
    value,
    limit,
    met: value <= limit,
  });
  const atLeast = (goal: string, value: number, limit: number): Judged => ({
    goal,
    value,
    limit,
    met: value >= limit,
  });
  const edit = isWide(shape) ? 50 : 5;
  return [
    atMost('identical after load and a first comparison, at most ms', at.identical, 1),
    atMost('edit without effect, median, at most ms', at.equalEdit.median, edit),
    atMost('one to five edits, median, at most ms', at.edits.median, edit),
    atLeast(
      'whole question, times faster than Z3: least ratio, at least',
      beside.whole.least,
      isWide(shape) ? 30 : 300,
    ),
    atLeast('Z3 given our pruned list, never slower: least ratio, at least', beside.near.least, 1),
    atMost('99 of 100 edits, at most ms (or a budget answer)', at.edits.p99, 1000),
    atMost('over a second without a budget answer, of all edits', at.slowWithoutWord / at.trials, 0.01),
    atMost('memory of a process that compares, at most MB', megabytes, 200),
    atLeast('edits with at most ten changes to read, share at least', at.fewChanges, 0.95),
    atMost('pair findings, at most ms', pairFindings, 500),
    ...Object.entries(reading).map(([name, ms]) => atMost(`load and parse ${name}, at most ms`, ms, 300)),
  ];
}
