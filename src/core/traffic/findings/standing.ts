import { decidersWithout, type Purse } from './effect.ts';
import { type Finding, NAMED } from './finding.ts';
import type { PlacedRule } from './occurrences.ts';
import { WithAndWithout, type YesNo } from './with-and-without.ts';

/** What there is to say of one rule by itself. */
export type Standing = 'matches nothing' | 'never reached' | 'redundant';

/** Is the rule reached, and does it matter? Undefined: both. */
export function standingOf(placed: PlacedRule, purse: Purse): Standing | 'unexamined' | undefined {
  if (placed.last) return undefined;
  if (placed.occurrences.length === 0) return 'matches nothing';
  const both = placed.occurrences.map((occurrence) => new WithAndWithout(occurrence));
  const matters = placed.jumps ? 'no' : over(both, (one) => one.matters(purse));
  if (matters === 'yes') return undefined;
  if (matters === 'undecided') return 'unexamined';
  const reached = over(both, (one) => one.isReached(purse));
  if (reached === 'undecided') return 'unexamined';
  if (reached === 'yes') return placed.jumps ? undefined : 'redundant';
  return 'never reached';
}

/** The finding with its proof. */
export function findingOf({ rule, occurrences, ways }: PlacedRule, kind: Standing, purse: Purse): Finding {
  if (kind === 'matches nothing') return { kind, rule, ways };
  const own = occurrences.filter(({ redirected }) => !redirected);
  const because = [...new Set(own.flatMap((occurrence) => decidersWithout(occurrence, purse)))];
  return { kind, rule, ways, because: because.slice(0, NAMED) };
}

/** `yes` when it holds for any occurrence. */
function over(occurrences: readonly WithAndWithout[], ask: (occurrence: WithAndWithout) => YesNo): YesNo {
  let answer: YesNo = 'no';
  for (const occurrence of occurrences) {
    const here = ask(occurrence);
    if (here === 'yes') return 'yes';
    if (here === 'undecided') answer = 'undecided';
  }
  return answer;
}
