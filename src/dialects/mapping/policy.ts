import type { Condition, Path, Pipeline, Policy, Rule, Stage, Unread } from '#core/traffic';
import type { Model } from './model.ts';
import { type ReadRule, reachOf } from './rules.ts';

const DEFAULT_DROPS: Condition = { name: 'a packet that no rule matches is dropped', holds: true };

/** Compiles what a mapping found to a policy; null when the mapping tells of no rules. */
export function policyOf(model: Model, rules: readonly ReadRule[], nat: readonly ReadRule[]): Policy | null {
  const { mapping } = model;
  if (mapping.rules === undefined) return null;
  const { paths, stateful, otherwise } = mapping.policy;
  const file = model.trees[0]?.source.file ?? '';
  const said = (text: string) => ({ file, line: 1, text: `mapping ${mapping.name}: ${text}` });
  const byId = new Map([...rules, ...nat].map((rule) => [rule.id, rule]));
  const unread = model.opaque.flatMap(({ place, text, why, within, mayAffectTraffic }): Unread[] => {
    if (!mayAffectTraffic) return [];
    const rule = within === null ? undefined : byId.get(within);
    const reason = why.replace(/\.$/, '').replace(/^The/, 'the');
    return [
      {
        file: place.file,
        line: place.line,
        text,
        reason,
        ...(rule === undefined ? {} : { paths, ...reachOf(rule) }),
      },
    ];
  });
  const silent = (['through', 'to', 'from'] as const).filter((path) => !paths.includes(path));
  if (silent.length > 0)
    unread.push({
      ...said(`paths ${paths.join(', ')}`),
      reason: `the mapping says nothing of traffic ${silent.join(' and ')} the device`,
      paths: silent,
    });

  const pipelines: Pipeline[] = [];
  for (const family of [4, 6] as const) {
    const compiled = (rule: ReadRule): Rule[] =>
      !rule.enabled || rule.verdict === null
        ? []
        : rule
            .matches(family)
            .map((match) => ({ match, action: { verdict: rule.verdict! }, origin: rule.origin }));
    const first: Rule[] = stateful
      ? [
          {
            match: { states: ['established', 'related'] },
            action: { verdict: 'accept' },
            origin: said('stateful'),
          },
        ]
      : [];
    const last: Rule =
      otherwise === undefined
        ? {
            match: { conditions: [DEFAULT_DROPS] },
            action: { verdict: 'drop' },
            origin: said('no rule matches'),
          }
        : { match: {}, action: { verdict: otherwise }, origin: said(`otherwise ${otherwise}`) };
    const filter: Stage = {
      kind: 'filter',
      name: 'rules',
      rules: [...first, ...rules.flatMap(compiled), last],
    };
    const translations = (kinds: readonly string[]): Rule[] =>
      nat.flatMap((rule) => {
        const rewrite = rule.rewrite(family);
        if (!rule.enabled || rewrite === null || !kinds.includes(rule.nat!)) return [];
        return rule.matches(family).map((match) => ({ match, action: { rewrite }, origin: rule.origin }));
      });
    const before: Stage = { kind: 'nat', name: 'destination NAT', rules: translations(['destination']) };
    const after: Stage = { kind: 'nat', name: 'source NAT', rules: translations(['source', 'masquerade']) };
    for (const path of paths) pipelines.push({ path, family, stages: stagesOf(path, before, filter, after) });
  }
  return { pipelines, unread };
}

/** Destinations are translated before the rules see a packet, sources after (common practice, no source). */
function stagesOf(path: Path, before: Stage, filter: Stage, after: Stage): Stage[] {
  const stages = [...(path === 'from' ? [] : [before]), filter, ...(path === 'to' ? [] : [after])];
  return stages.filter(({ kind, rules }) => kind === 'filter' || rules.length > 0);
}
