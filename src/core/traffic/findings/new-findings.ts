import { WAYS } from '../difference/difference.ts';
import { relevantRules } from '../difference/relevant.ts';
import { slotsOf } from '../difference/slots.ts';
import type { Policy, Rule } from '../policy.ts';
import { DEFAULT_BUDGET, type TrafficBudget } from '../row.ts';
import type { Purse } from './effect.ts';
import { type Finding, type Findings, placeOf } from './finding.ts';
import { placedRules } from './occurrences.ts';
import { examine, isAnyToAny, overlapFindings } from './review.ts';

/**
 * What is worth a second look in a changed policy and was not before. A rule that shares no packet with a changed one
 * is reached, and matters, exactly as before: only the others are examined.
 */
export function newFindings(before: Policy, after: Policy, budget: TrafficBudget = DEFAULT_BUDGET): Findings {
  const { came, went } = changedRules(before, after);
  if (came.size + went === 0) return { findings: [], unexamined: [] };
  const near = placesOf(relevantRules(before, after).after);
  const purse: Purse = { budget, spent: 0 };
  const suspects: Finding[] = [];
  const unexamined: Rule[] = [];
  for (const placed of placedRules(after)) {
    if (!near.has(placeOf(placed.rule))) continue;
    const finding = examine(placed, purse);
    if (finding === 'unexamined') unexamined.push(placed.rule);
    else if (finding !== undefined) suspects.push(finding);
    if (came.has(placed.rule) && isAnyToAny(placed))
      suspects.push({ kind: 'any to any', rule: placed.rule, ways: placed.ways });
  }
  const old = findingsOf(before, new Set(suspects.map(({ rule }) => rule.origin.text)), purse);
  const findings = suspects.filter((finding) => !old.has(keyOf(finding)));
  return { findings: [...findings, ...overlapFindings(after, (rule) => came.has(rule))], unexamined };
}

/** Rules that came, and how many went. */
function changedRules(before: Policy, after: Policy): { came: ReadonlySet<Rule>; went: number } {
  const came = new Set<Rule>();
  let went = 0;
  for (const { path, family } of WAYS) {
    for (const slot of slotsOf(before, after, path, family).slots) {
      for (const index of slot.after.changed) came.add(slot.after.stage!.rules[index]!.rule);
      went += slot.before.changed.length;
    }
  }
  return { came, went };
}

/** Lines move when text is put in: a rule is known again by its text. */
const keyOf = ({ kind, rule }: Finding): string => `${kind} ${rule.origin.text}`;

function findingsOf(policy: Policy, texts: ReadonlySet<string>, purse: Purse): Set<string> {
  const found = new Set<string>();
  if (texts.size === 0) return found;
  for (const placed of placedRules(policy)) {
    if (!texts.has(placed.rule.origin.text)) continue;
    const finding = examine(placed, purse);
    if (finding !== undefined && finding !== 'unexamined') found.add(keyOf(finding));
  }
  return found;
}

function placesOf({ pipelines }: Policy): Set<string> {
  return new Set(pipelines.flatMap(({ stages }) => stages.flatMap(({ rules }) => rules.map(placeOf))));
}
