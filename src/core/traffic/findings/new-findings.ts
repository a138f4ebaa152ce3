import { WAYS } from '../difference/difference.ts';
import { slotsOf } from '../difference/slots.ts';
import type { Policy, Rule } from '../policy.ts';
import { DEFAULT_BUDGET, type TrafficBudget } from '../row.ts';
import { anyToAny } from './any-to-any.ts';
import type { Purse } from './effect.ts';
import { type Finding, type Findings, NAMED, placeOf } from './finding.ts';
import { losersOf } from './losers.ts';
import { type PlacedRule, placedRules } from './occurrences.ts';
import type { Side } from './overlaps.ts';
import { overlapFindings } from './review.ts';
import { findingOf, type Standing, standingOf } from './standing.ts';
import { WithAndWithout } from './with-and-without.ts';

/**
 * What is worth a second look in a changed policy and was not before: rules that came and are not reached or not needed
 * there, rules of before that are no longer, since they lost packets to those that came (of a call of a chain, its rules
 * say so), and what lets pass the rest only now. Overlaps are those of a rule that came with one that was there; not with
 * rules for answers only, which every policy begins with (common practice, no source).
 */
export function newFindings(before: Policy, after: Policy, budget: TrafficBudget = DEFAULT_BUDGET): Findings {
  const { came, went } = changedRules(before, after);
  if (came.size + went === 0) return { findings: [], unexamined: [] };
  const purse: Purse = { budget, spent: 0 };
  const losers = losersOf(before, after, purse);
  const isSuspect = (rule: Rule) => came.has(rule) || losers.has(rule.origin.text);
  const suspects: { readonly placed: PlacedRule; readonly standing: Standing }[] = [];
  const unexamined: Rule[] = [];
  for (const placed of placedRules(after, isSuspect)) {
    const standing = standingOf(placed, purse);
    if (standing === 'unexamined') unexamined.push(placed.rule);
    else if (standing !== undefined) suspects.push({ placed, standing });
  }
  const old = standingsOf(before, new Set(suspects.map(({ placed }) => placed.rule.origin.text)), purse);
  // What proves them is only looked for where they are new.
  const findings = suspects
    .filter(({ placed, standing }) => !old.has(keyOf(standing, placed.rule)))
    .map(({ placed, standing }) => findingOf(placed, standing, purse));
  const between = (rule: Rule): Side => (came.has(rule) ? 'came' : isForAnswers(rule) ? 'aside' : 'there');
  const wasOpen = new Set(anyToAny(before).map(({ rule }) => rule.origin.text));
  const opened = anyToAny(after).filter(({ rule }) => !wasOpen.has(rule.origin.text));
  const overlaps = confirmed(overlapFindings(after, between), after, purse);
  return { findings: [...findings, ...opened, ...overlaps], unexamined };
}

/**
 * Rules that overlap as they stand may stand in chains that no packet passes both of. Kept are the earlier rules that
 * do take packets from the later one, or of which that could not be decided.
 */
function confirmed(overlaps: readonly Finding[], policy: Policy, purse: Purse): Finding[] {
  const rules = overlaps.flatMap(earlierIn);
  const lines = new Set(rules.map(({ origin }) => origin.line));
  const places = new Set(rules.map(placeOf));
  const placed = placedRules(policy, (rule) => lines.has(rule.origin.line) && places.has(placeOf(rule)));
  const both = new Map(
    placed.map(({ rule, occurrences }) => [
      placeOf(rule),
      occurrences.map((occurrence) => new WithAndWithout(occurrence)),
    ]),
  );
  return overlaps.flatMap((finding): Finding[] => {
    const earlier = earlierIn(finding);
    const later = placeOf(finding.rule);
    const real = earlier.filter((rule) =>
      both.get(placeOf(rule))?.some((one) => one.standsBefore(later, purse) !== 'no'),
    );
    const all = !('count' in finding) || finding.count === earlier.length;
    if (real.length === 0 && all) return [];
    // Of more than were kept, it is not known which of the others are real: the finding then names and counts them as they stand.
    const named = (all ? real : earlier).slice(0, NAMED);
    if (finding.kind === 'overlap')
      return [{ ...finding, with: named, count: all ? real.length : finding.count }];
    if (finding.kind === 'widening')
      return [{ ...finding, of: named, count: all ? real.length : finding.count }];
    return [finding];
  });
}

/** The earlier rules of an overlap. */
function earlierIn(finding: Finding): readonly Rule[] {
  return finding.kind === 'overlap' ? finding.with : finding.kind === 'widening' ? finding.of : [];
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
const keyOf = (standing: string, { origin }: Rule): string => `${standing} ${origin.text}`;

function standingsOf(policy: Policy, texts: ReadonlySet<string>, purse: Purse): Set<string> {
  const found = new Set<string>();
  if (texts.size === 0) return found;
  for (const placed of placedRules(policy, ({ origin }) => texts.has(origin.text))) {
    const standing = standingOf(placed, purse);
    if (standing !== undefined && standing !== 'unexamined') found.add(keyOf(standing, placed.rule));
  }
  return found;
}
