import type { Family } from '#core/address';
import type { Pipeline, Policy, Rule, Stage } from '../policy.ts';
import { openComparison } from './comparison.ts';
import { WAYS } from './difference.ts';
import { interestsOf, programOf } from './program.ts';
import { slotsOf } from './slots.ts';

/**
 * Both policies without the rules that cannot matter to their difference: only rules that share a packet with a rule
 * that the other side lacks. The difference of the result is the difference of the whole. An IP version with address
 * translation keeps all its rules: a translated packet meets rules that share none with it as it came.
 */
export function relevantRules(before: Policy, after: Policy): { before: Policy; after: Policy } {
  const keep = { before: new Set<Rule>(), after: new Set<Rule>() };
  for (const { path, family } of WAYS) {
    if (translates(before, family) || translates(after, family)) {
      for (const rule of rulesOf(before, family)) keep.before.add(rule);
      for (const rule of rulesOf(after, family)) keep.after.add(rule);
      continue;
    }
    const opened = openComparison(slotsOf(before, after, path, family), undefined, true);
    const comparison = { ...opened, untrimmed: true };
    const regions = [...interestsOf(comparison, 'before'), ...interestsOf(comparison, 'after')].map(
      (i) => i.box,
    );
    if (regions.length === 0) continue;
    for (const side of ['before', 'after'] as const) {
      for (const { rule } of programOf(comparison, side, regions, new Set())) {
        if (rule !== undefined) keep[side].add(rule.rule);
      }
    }
  }
  return { before: only(before, keep.before), after: only(after, keep.after) };
}

function translates(policy: Policy, family: Family): boolean {
  return rulesOf(policy, family).some(({ action }) => 'rewrite' in action);
}

function rulesOf(policy: Policy, family: Family): Rule[] {
  const own = policy.pipelines.filter((pipeline) => pipeline.family === family);
  return own.flatMap((pipeline) => pipeline.stages.flatMap((stage) => stage.rules));
}

function only(policy: Policy, keep: ReadonlySet<Rule>): Policy {
  const pipelines = policy.pipelines.map(
    (pipeline): Pipeline => ({ ...pipeline, stages: pipeline.stages.map((stage) => onlyIn(stage, keep)) }),
  );
  return { ...policy, pipelines };
}

function onlyIn(stage: Stage, keep: ReadonlySet<Rule>): Stage {
  const newIndex: number[] = [];
  let kept = 0;
  for (const rule of stage.rules) {
    newIndex.push(kept);
    if (keep.has(rule)) kept++;
  }
  newIndex.push(kept);
  const rules = stage.rules
    .filter((rule) => keep.has(rule))
    .map((rule) =>
      'skip' in rule.action ? { ...rule, action: { skip: newIndex[rule.action.skip]! } } : rule,
    );
  return { ...stage, rules };
}
