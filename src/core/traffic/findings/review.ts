import { openComparison } from '../difference/comparison.ts';
import { WAYS } from '../difference/difference.ts';
import { slotsOf } from '../difference/slots.ts';
import { boxOf, firstView } from '../difference/view.ts';
import type { Match, Policy, Rule } from '../policy.ts';
import { DEFAULT_BUDGET, type TrafficBudget } from '../row.ts';
import { type SpecialBlock, specialBlocks } from '../special-purpose.ts';
import { anyToAny } from './any-to-any.ts';
import { decidersOfFlow, type Purse } from './effect.ts';
import { type Finding, type Findings, placeOf, type Way } from './finding.ts';
import { placedRules } from './occurrences.ts';
import {
  newOppositeRules,
  type OppositeRules,
  oppositeRules,
  type Side,
  type VerdictBox,
} from './overlaps.ts';
import { findingOf, standingOf } from './standing.ts';

/** A review is asked for now and then and not in a maintenance window: it may take ten times as long as a comparison. */
export const REVIEW_BUDGET: TrafficBudget = { ...DEFAULT_BUDGET, work: 10 * DEFAULT_BUDGET.work };

export interface ReviewOptions {
  /** Interfaces that lead outside: sources that cannot come from there are looked for. */
  readonly outside?: readonly string[];
  readonly budget?: TrafficBudget;
}

/** What is worth a second look in one policy, each with its proof. Nothing is claimed that was not computed. */
export function reviewPolicy(
  policy: Policy,
  { outside = [], budget = REVIEW_BUDGET }: ReviewOptions = {},
): Findings {
  const purse: Purse = { budget, spent: 0 };
  const findings: Finding[] = [];
  const unexamined: Rule[] = [];
  for (const placed of placedRules(policy)) {
    const standing = standingOf(placed, purse);
    if (standing === 'unexamined') unexamined.push(placed.rule);
    else if (standing !== undefined) findings.push(findingOf(placed, standing, purse));
  }
  const sources = specialSources(policy, outside, purse);
  findings.push(...anyToAny(policy), ...overlapFindings(policy), ...sources.findings);
  return { findings, unexamined, unexaminedOutside: sources.unexamined };
}

/** Does the rule look at packets that belong to no known connection? */
function meetsNew({ match: { states } }: Rule): boolean {
  return states === undefined || states.includes('new') || states.includes('untracked');
}

/**
 * Of all pairs, or only of those between two sides. Rules about known connections alone are not looked at: nearly every
 * policy lets these pass before all else (common practice, no source), and each would be said to overlap all the others.
 * Nor are rules about everything, which say what becomes of the rest.
 */
export function overlapFindings(policy: Policy, sideOf?: (rule: Rule) => Side): Finding[] {
  const merged = new Map<string, { opposite: OppositeRules; ways: Way[] }>();
  for (const way of WAYS) {
    const slots = slotsOf(policy, policy, way.path, way.family);
    const comparison = openComparison(slots);
    for (const { before } of slots.slots.slice(0, slots.own)) {
      const boxes = (before.stage?.rules ?? []).flatMap((loaded): VerdictBox[] => {
        const { action, match } = loaded.rule;
        if (!('verdict' in action) || Object.keys(match).length === 0 || !meetsNew(loaded.rule)) return [];
        const box = boxOf(loaded, firstView(way.path), comparison);
        return box === undefined ? [] : [{ rule: loaded.rule, box, passes: action.verdict === 'accept' }];
      });
      const found = sideOf === undefined ? oppositeRules(boxes) : newOppositeRules(boxes, sideOf);
      for (const opposite of found) {
        const place = placeOf(opposite.rule);
        const known = merged.get(place);
        if (known === undefined) merged.set(place, { opposite, ways: [way] });
        else if (!known.ways.includes(way)) known.ways.push(way);
      }
    }
  }
  return [...merged.values()].flatMap(({ opposite, ways }): Finding[] => {
    const { rule, inside, insideCount, across, acrossCount } = opposite;
    return [
      ...(insideCount > 0 ? [{ kind: 'widening' as const, rule, ways, of: inside, count: insideCount }] : []),
      ...(acrossCount > 0
        ? [{ kind: 'overlap' as const, rule, ways, with: across, count: acrossCount }]
        : []),
    ];
  });
}

/** Forwarded packets that come in from outside with a source that is not global (RFC 6890), by the rule that lets them in. */
function specialSources(
  policy: Policy,
  outside: readonly string[],
  purse: Purse,
): { findings: Finding[]; unexamined: string[] } {
  const unexamined = new Set<string>();
  const found = new Map<string, { rule: Rule; ways: Way[]; interface: string; blocks: SpecialBlock[] }>();
  for (const way of WAYS) {
    const slots = slotsOf(policy, policy, way.path, way.family);
    const filter = slots.slots
      .slice(0, slots.own)
      .findLastIndex((slot) => slot.before.stage?.kind === 'filter');
    if (way.path !== 'through' || filter < 0) continue;
    for (const block of specialBlocks(way.family).filter((b) => !b.global || !b.source)) {
      for (const name of outside) {
        const flow: Match = { inInterface: { names: [name] }, source: block.addresses, states: ['new'] };
        const deciders = decidersOfFlow(slots, filter, flow, purse);
        if (deciders === undefined) unexamined.add(name);
        for (const rule of deciders ?? []) {
          if (!('verdict' in rule.action) || rule.action.verdict !== 'accept') continue;
          const key = `${name} ${placeOf(rule)}`;
          const known = found.get(key);
          if (known === undefined) found.set(key, { rule, ways: [way], interface: name, blocks: [block] });
          else {
            known.blocks.push(block);
            if (!known.ways.includes(way)) known.ways.push(way);
          }
        }
      }
    }
  }
  const findings = [...found.values()].map((finding) => ({ kind: 'special source' as const, ...finding }));
  return { findings, unexamined: [...unexamined] };
}
