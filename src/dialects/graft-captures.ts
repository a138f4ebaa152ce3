import {
  choose,
  closureOf,
  type GraftOptions,
  type GraftPlan,
  mismatchOf,
  planGraft,
  type Selector,
  type SourceFile,
  structureOf,
} from '#core/config';
import { TuckpointError } from '#core/errors';
import type { TrafficDifference } from '#core/traffic';
import { type CaptureComparison, compareCaptures, trafficBetween } from './compare-captures.ts';
import { graftWriterFor } from './graft-writer.ts';
import type { CapturePart, ReadCapture } from './read-capture.ts';

/** A graft of one part of a capture onto one target, with its proof. */
export interface CaptureGraft {
  readonly plan: GraftPlan;
  /** Null while the plan has problems that a person must settle. */
  readonly outcome: {
    /** The files of the part after the graft; all others stay. */
    readonly files: readonly SourceFile[];
    readonly after: ReadCapture;
    readonly objects: CaptureComparison;
    /** Null when neither side carries packet rules. */
    readonly traffic: TrafficDifference | null;
  } | null;
}

/**
 * Plans the graft of chosen objects of one part onto the target's part of the same language, writes it, reads the
 * result back and compares objects and traffic. Nothing leaves this function that does not read as predicted.
 * @throws TuckpointError `config/nothing-selected`, `dialects/cannot-write`, `dialects/not-as-predicted`.
 */
export function graftCapture(
  source: CapturePart,
  selectors: readonly Selector[],
  target: ReadCapture,
  options: GraftOptions,
): CaptureGraft {
  const { dialect } = source;
  const onto = target.parts.find((part) => part.dialect === dialect);
  if (onto === undefined) {
    throw new TuckpointError(
      'dialects/cannot-write',
      `The target holds no ${dialect.name} file to graft onto.`,
      {
        advice: 'Take parts that stand in a language the target has.',
      },
    );
  }
  const from = structureOf(source.configuration);
  const closure = closureOf(from, choose(from, selectors).objects);
  const plan = planGraft(from, closure, structureOf(onto.configuration), options);
  if (plan.problems.length > 0) return { plan, outcome: null };
  const files = dialect.write(onto.files, graftWriterFor(dialect).write(plan.job));
  const configuration = dialect.read(files);
  const mismatch = mismatchOf(plan.prediction, configuration);
  if (mismatch !== null) {
    throw new TuckpointError(
      'dialects/not-as-predicted',
      `The written graft does not read as planned: ${mismatch}`,
      {
        advice: 'Nothing was sent. Carry these parts by hand, or take fewer at once.',
      },
    );
  }
  const parts = target.parts.map((part) => (part === onto ? { dialect, files, configuration } : part));
  const after: ReadCapture = { ...target, parts };
  const objects = compareCaptures(target, after);
  return { plan, outcome: { files, after, objects, traffic: trafficBetween(target, after) } };
}
