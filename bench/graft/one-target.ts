import { decisionRule, readAnchor, readDecision, readSelector } from '#core/config';
import { readCapture } from '#dialects';
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

/** The whole plan for one device: read, closure met with what it holds, written, read back, objects, traffic. */
function planOne(graft: PreparedGraft, files: readonly NamedBytes[]): TargetPlan {
  return planTarget(graft, {
    device: { name: 'bench', port: 22 },
    files,
    facts: { applyNeedsRestart: () => false },
    fill: () => undefined,
    promises: [],
    way: null,
  });
}

/** Milliseconds of one plan, the device's configuration being at hand as bytes; and of the new findings besides. */
export function timedPlan(
  graft: PreparedGraft,
  number: number,
  rules: number,
): { ms: number; findingsMs: number; plan: TargetPlan } {
  const files = targetFiles(number, rules);
  const start = performance.now();
  const plan = planOne(graft, files);
  const planned = performance.now();
  plan.findings();
  return { ms: planned - start, findingsMs: performance.now() - planned, plan };
}
