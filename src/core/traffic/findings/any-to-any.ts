import { stagesOf } from '../decide.ts';
import { WAYS } from '../difference/difference.ts';
import type { Match, Policy, Rule, Stage } from '../policy.ts';
import { type Finding, placeOf, type Way } from './finding.ts';

/**
 * The rules that let pass what no rule with limits takes, on the ways on which every filter does. What the device itself
 * sends is commonly let out whole (common practice, no source), and is not looked at.
 */
export function anyToAny(policy: Policy): Finding[] {
  const found = new Map<string, { rule: Rule; ways: Way[] }>();
  for (const way of WAYS.filter(({ path }) => path !== 'from')) {
    const filters = stagesOf(policy, way.path, way.family).filter(({ kind }) => kind === 'filter');
    if (!filters.every((filter) => isAccept(ruleOfTheRest(filter)))) continue;
    // A filter that holds nothing else decides nothing, unless there is no other.
    const deciding = filters.filter(({ rules }) => rules.length > 1);
    for (const filter of deciding.length > 0 ? deciding : filters) {
      const rule = ruleOfTheRest(filter);
      if (rule === undefined) continue;
      const known = found.get(placeOf(rule));
      if (known === undefined) found.set(placeOf(rule), { rule, ways: [way] });
      else known.ways.push(way);
    }
  }
  return [...found.values()].map((one) => ({ kind: 'any to any', ...one }));
}

/** The rule that decides on packets that no rule with limits matches; undefined where they run through. */
function ruleOfTheRest({ rules }: Stage): Rule | undefined {
  let at = 0;
  while (at < rules.length) {
    const rule = rules[at]!;
    if (hasLimits(rule.match)) at++;
    else if ('skip' in rule.action) at = rule.action.skip;
    else return rule;
  }
  return undefined;
}

/** Does it leave out any packet that belongs to no known connection? */
function hasLimits({ states, ...rest }: Match): boolean {
  return Object.keys(rest).length > 0 || !(states?.includes('new') ?? true);
}

/** A packet that runs through has passed. */
function isAccept(rule: Rule | undefined): boolean {
  return rule === undefined || ('verdict' in rule.action && rule.action.verdict === 'accept');
}
