import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { type ReadCapture, readCapture } from '#dialects';
import { type GraftWish, type PreparedGraft, planTarget, prepareGraft, type TargetPlan } from '#runs';
import { type NamedBytes, SELECTORS, sourceFiles, targetFiles } from './estate.ts';

const wish: GraftWish = {
  take: SELECTORS.map(readSelector),
  decide: decisionRule([readDecision('take')]),
  anchor: readAnchor('first'),
  matchMay: () => false,
  placeholders: [],
};

export const prepared = (): PreparedGraft => prepareGraft(readCapture(sourceFiles()), wish);

/** The plan for one device as it was read: closure met with what it holds, written, read back, objects, traffic. */
function planOne(graft: PreparedGraft, files: readonly NamedBytes[], read: ReadCapture): TargetPlan {
  const device = { name: 'bench', port: 22 };
  const facts = { applyNeedsRestart: () => false };
  return planTarget(graft, { device, files, facts, fill: () => undefined, promises: [], way: null }, read);
}

export interface TimedPlan {
  /** Milliseconds from the bytes of the device's configuration to its objects. */
  readonly readMs: number;
  /** Milliseconds of the plan and its proof, the configuration being read. */
  readonly ms: number;
  /** Milliseconds of the new findings besides. */
  readonly findingsMs: number;
  readonly plan: TargetPlan;
}

export function timedPlan(graft: PreparedGraft, number: number, rules: number): TimedPlan {
  const files = targetFiles(number, rules);
  const start = performance.now();
  const read = readCapture(files);
  const begun = performance.now();
  const plan = planOne(graft, files, read);
  const planned = performance.now();
  plan.findings();
  return { readMs: begun - start, ms: planned - begun, findingsMs: performance.now() - planned, plan };
}
