import { WAYS } from '../difference/difference.ts';
import { slotsOf } from '../difference/slots.ts';
import type { Policy, Rule } from '../policy.ts';
import { DEFAULT_BUDGET, type TrafficBudget } from '../row.ts';
import { type Purse, standsBefore } from './effect.ts';
import { type Finding, type Findings, NAMED, placeOf } from './finding.ts';
import { losersOf } from './losers.ts';
import { type PlacedRule, placedRules } from './occurrences.ts';
import type { Side } from './overlaps.ts';
import { examine, isAnyToAny, overlapFindings } from './review.ts';

/**
 * What is worth a second look in a changed policy and was not before: rules that came and are not reached or not needed
 * there, and rules of before that are no longer, since they lost packets to those that came (of a call of a chain, its
 * rules say so). Overlaps are those of a rule that came with one that was there; not with rules for answers only, which
 * every policy begins with (common practice, no source).
 */
export function newFindings(before: Policy, after: Policy, budget: TrafficBudget = DEFAULT_BUDGET): Findings {
  const { came, went } = changedRules(before, after);
  if (came.size + went === 0) return { findings: [], unexamined: [] };
  const purse: Purse = { budget, spent: 0 };
  const losers = losersOf(before, after, purse);
  const isSuspect = ({ rule }: PlacedRule) => came.has(rule) || losers.has(rule.origin.text);
  const suspects: Finding[] = [];
  const unexamined: Rule[] = [];
  const placedAfter = placedRules(after);
  for (const placed of placedAfter) {
    if (!isSuspect(placed)) continue;
    const finding = examine(placed, purse);
    if (finding === 'unexamined') unexamined.push(placed.rule);
    else if (finding !== undefined) suspects.push(finding);
    if (came.has(placed.rule) && isAnyToAny(placed))
      suspects.push({ kind: 'any to any', rule: placed.rule, ways: placed.ways });
  }
  const old = findingsOf(before, new Set(suspects.map(({ rule }) => rule.origin.text)), purse);
  const findings = suspects.filter((finding) => !old.has(keyOf(finding)));
  const between = (rule: Rule): Side => (came.has(rule) ? 'came' : isForAnswers(rule) ? 'aside' : 'there');
  const overlaps = overlapFindings(after, between).flatMap((one) => confirmed(one, placedAfter, purse));
  return { findings: [...findings, ...overlaps], unexamined };
}

/**
 * Rules that overlap as they stand may stand in chains that no packet passes both of. Kept are the earlier rules that
 * do take packets from the later one, or of which that could not be decided.
 */
function confirmed(finding: Finding, placed: readonly PlacedRule[], purse: Purse): Finding[] {
  if (finding.kind !== 'overlap' && finding.kind !== 'widening') return [finding];
  const earlier = finding.kind === 'overlap' ? finding.with : finding.of;
  const later = placeOf(finding.rule);
  const occurrencesOf = (rule: Rule) =>
    placed.find((one) => placeOf(one.rule) === placeOf(rule))?.occurrences ?? [];
  const real = earlier.filter((rule) =>
    occurrencesOf(rule).some((occurrence) => standsBefore(occurrence, later, purse) !== 'no'),
  );
  const all = finding.count === earlier.length;
  if (real.length === 0 && all) return [];
  // Of more than were kept, it is not known which of the others are real: the finding then names and counts them as they stand.
  const rules = (all ? real : earlier).slice(0, NAMED);
  const count = all ? real.length : finding.count;
  return [finding.kind === 'overlap' ? { ...finding, with: rules, count } : { ...finding, of: rules, count }];
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

/** Of established connections and what belongs to them only. */
function isForAnswers({ match: { states } }: Rule): boolean {
  return states !== undefined && !states.includes('new') && !states.includes('untracked');
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
