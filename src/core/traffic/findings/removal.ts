import { trafficDifference } from '../difference/difference.ts';
import type { Policy, Rule, Stage } from '../policy.ts';
import type { TrafficBudget, TrafficDifference } from '../row.ts';
import { placeOf } from './finding.ts';

/** The policy without a rule, wherever it was compiled in. Jumps land where they did. */
export function withoutRule(policy: Policy, rule: Rule): Policy {
  const place = placeOf(rule);
  return {
    ...policy,
    pipelines: policy.pipelines.map((pipeline) => ({
      ...pipeline,
      stages: pipeline.stages.map((stage) =>
        stage.rules.some((other) => placeOf(other) === place) ? without(stage, place) : stage,
      ),
    })),
  };
}

function without(stage: Stage, place: string): Stage {
  const newIndex: number[] = [];
  let kept = 0;
  for (const rule of stage.rules) {
    newIndex.push(kept);
    if (placeOf(rule) !== place) kept++;
  }
  newIndex.push(kept);
  const rules = stage.rules
    .filter((rule) => placeOf(rule) !== place)
    .map((rule) =>
      'skip' in rule.action ? { ...rule, action: { skip: newIndex[rule.action.skip]! } } : rule,
    );
  return { ...stage, rules };
}

/** What taking a rule out would change: nothing, or the rows. Not meant for jumps, which stand for whole chains. */
export function removalEffect(policy: Policy, rule: Rule, budget?: TrafficBudget): TrafficDifference {
  return trafficDifference(policy, withoutRule(policy, rule), budget);
}
