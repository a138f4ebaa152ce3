import type { Family } from '#core/address';
import type { Condition, Path, Pipeline, Policy, Rule, Stage, Unread } from '#core/traffic';
import { type CompiledRule, compileRule, reachOf } from './compile.ts';
import type { Model } from './model.ts';
import type { ReadRule } from './rules.ts';

const DEFAULT_DROPS: Condition = { name: 'a packet that no rule matches is dropped', holds: true };

/** Compiles what a mapping found to a policy; null when the mapping tells of no rules. */
export function policyOf(
  model: Model,
  readRules: readonly ReadRule[],
  readNat: readonly ReadRule[],
): Policy | null {
  const { mapping } = model;
  if (mapping.rules === undefined) return null;
  const { paths, stateful, otherwise } = mapping.policy;
  const filters = filterRules(model, readRules);
  const nat = readNat.map((rule) => compileRule(model, rule));
  const file = model.trees[0]?.source.file ?? '';
  const said = (text: string) => ({ file, line: 1, text: `mapping ${mapping.name}: ${text}` });

  const pipelines: Pipeline[] = [];
  for (const family of [4, 6] as const) {
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
    const translations = (kinds: readonly string[]): Rule[] =>
      nat.flatMap(({ rule, matches, rewrite: rewriteFor }) => {
        const rewrite = rule.enabled && kinds.includes(rule.nat!) ? rewriteFor(family) : null;
        return rewrite === null
          ? []
          : matches(family).map((match) => ({ match, action: { rewrite }, origin: rule.origin }));
      });
    const filter: Stage = { kind: 'filter', name: 'rules', rules: [...first, ...filters[family], last] };
    const before: Stage = { kind: 'nat', name: 'destination NAT', rules: translations(['destination']) };
    const after: Stage = { kind: 'nat', name: 'source NAT', rules: translations(['source', 'masquerade']) };
    for (const path of paths) pipelines.push({ path, family, stages: stagesOf(path, before, filter, after) });
  }
  const silent = (['through', 'to', 'from'] as const).filter((path) => !paths.includes(path));
  const reason = `the mapping says nothing of traffic ${silent.join(' and ')} the device`;
  return {
    pipelines,
    unread: [
      ...unreadParts(model, [...readRules, ...readNat], paths),
      ...nat.filter(isLost).map(
        (one): Unread => ({
          ...one.rule.origin,
          reason: 'what it translates to is not understood',
          paths,
          ...reachOf(one),
        }),
      ),
      ...(silent.length === 0 ? [] : [{ ...said(`paths ${paths.join(', ')}`), reason, paths: silent }]),
    ],
  };
}

/** What the rules match, of each family. */
function filterRules(model: Model, readRules: readonly ReadRule[]): Readonly<Record<Family, Rule[]>> {
  const rules: Record<Family, Rule[]> = { 4: [], 6: [] };
  for (const rule of readRules) {
    const { verdict, enabled, origin } = rule;
    if (!enabled || verdict === null) continue;
    const action = { verdict };
    const { matches } = compileRule(model, rule);
    for (const family of [4, 6] as const)
      for (const match of matches(family)) rules[family].push({ match, action, origin });
  }
  return rules;
}

/** Destinations are translated before the rules see a packet, sources after (common practice, no source). */
function stagesOf(path: Path, before: Stage, filter: Stage, after: Stage): Stage[] {
  const stages = [...(path === 'from' ? [] : [before]), filter, ...(path === 'to' ? [] : [after])];
  return stages.filter(({ kind, rules }) => kind === 'filter' || rules.length > 0);
}

function isLost({ rule, rewrite }: CompiledRule): boolean {
  return rule.enabled && rewrite(4) === null && rewrite(6) === null;
}

function unreadParts(model: Model, rules: readonly ReadRule[], paths: readonly Path[]): Unread[] {
  if (model.opaque.length === 0) return [];
  const byId = new Map(rules.map((rule) => [rule.id, rule]));
  return model.opaque.flatMap(({ place, text, whole, why, within, mayAffectTraffic }): Unread[] => {
    if (!mayAffectTraffic) return [];
    const rule = within === null ? undefined : byId.get(within);
    const reason = why.replace(/\.$/, '').replace(/^The/, 'the');
    return [
      {
        file: place.file,
        line: place.line,
        text,
        ...(whole !== undefined && { whole }),
        reason,
        ...(rule === undefined ? {} : { paths, ...reachOf(compileRule(model, rule)) }),
      },
    ];
  });
}
