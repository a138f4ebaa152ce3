import type { Policy, Rule } from '#core/traffic';
import type { Random } from './random.ts';
import { matchOf, ruleOf, type Shape } from './shapes.ts';

/** A few edits such as a change request makes: rules taken out, put in, moved, turned round, given other ports. */
export function edited(policy: Policy, shape: Shape, edits: number, random: Random): Policy {
  return Array.from({ length: edits }).reduce<Policy>(
    (p) => changeRules(p, random, (rules) => edit(rules, shape, random)),
    policy,
  );
}

function edit(rules: Rule[], shape: Shape, random: Random): void {
  const at = random.below(rules.length - 1);
  const rule = rules[at]!;
  switch (random.below(5)) {
    case 0:
      rules.splice(at, 1);
      return;
    case 1:
      rules.splice(
        at,
        0,
        ruleOf(matchOf(shape, random), { verdict: random.chance(0.7) ? 'accept' : 'drop' }, 900_000 + at),
      );
      return;
    case 2:
      rules.splice(random.below(rules.length - 1), 0, ...rules.splice(at, 1));
      return;
    case 3:
      rules[at] = {
        ...rule,
        action: { verdict: 'verdict' in rule.action && rule.action.verdict === 'accept' ? 'drop' : 'accept' },
      };
      return;
    default:
      rules[at] = {
        ...rule,
        match: {
          ...rule.match,
          protocol: [6, 6],
          destinationPort: [random.below(1024), 1024 + random.below(1024)],
        },
      };
  }
}

/** An edit without effect: a rule doubled right behind itself. */
export function doubled(policy: Policy, random: Random): Policy {
  return changeRules(policy, random, (rules) => {
    const at = random.below(rules.length - 1);
    rules.splice(at + 1, 0, rules[at]!);
  });
}

/** Applies a change to a copy of the filter rules of one pipeline. */
function changeRules(policy: Policy, random: Random, change: (rules: Rule[]) => void): Policy {
  const chosen = random.below(policy.pipelines.length);
  return {
    ...policy,
    pipelines: policy.pipelines.map((pipeline, i) => {
      if (i !== chosen) return pipeline;
      return {
        ...pipeline,
        stages: pipeline.stages.map((stage) => {
          if (stage.kind !== 'filter') return stage;
          const rules = [...stage.rules];
          change(rules);
          return { ...stage, rules };
        }),
      };
    }),
  };
}
