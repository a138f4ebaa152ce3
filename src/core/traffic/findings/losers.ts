import { WAYS } from '../difference/difference.ts';
import { type Slot, type Slots, slotsOf } from '../difference/slots.ts';
import type { Policy, Rule } from '../policy.ts';
import { decidersOfFlow, type Purse } from './effect.ts';

/** Above this many rules that came, asking for each costs more than looking at all rules near them. */
const MOST_CAME = 200;

/**
 * Texts of the rules that may lose packets to rules that came: they decide, before, on packets that those match. Null
 * where that cannot be told so: addresses are translated on the way, or the budget did not suffice.
 */
export function losersOf(before: Policy, after: Policy, purse: Purse): Set<string> | null {
  const losers = new Set<string>();
  for (const { path, family } of WAYS) {
    const both = slotsOf(before, after, path, family);
    const came = both.slots.map(cameIn);
    const count = came.reduce((sum, { length }) => sum + length, 0);
    if (count === 0) continue;
    if (count > MOST_CAME || both.slots.some(translates)) return null;
    const same = slotsOf(before, before, path, family);
    for (const [at, rules] of came.entries()) {
      for (const { match } of rules) {
        for (const slot of slotsFrom(same, both.slots[at]!)) {
          const deciders = decidersOfFlow(same, slot, match, purse);
          if (deciders === undefined) return null;
          for (const { origin } of deciders) losers.add(origin.text);
        }
      }
    }
  }
  return losers;
}

/** Rules that came and decide something; ways around chains do not. */
function cameIn({ after: { stage, changed } }: Slot): Rule[] {
  return changed.map((i) => stage!.rules[i]!.rule).filter(({ action }) => !('skip' in action));
}

function translates({ before, after }: Slot): boolean {
  return [before, after].some(
    ({ stage }) => stage?.rules.some(({ rule: { action } }) => 'rewrite' in action) === true,
  );
}

/** The slots of the policy before from the one on where the other side's stage stands; all, where it stands alone. */
function slotsFrom({ slots, own }: Slots, { before }: Slot): number[] {
  const name = before.stage?.name;
  const first = slots.findIndex(({ before: { stage } }) => stage !== undefined && stage.name === name);
  return slots.slice(0, own).flatMap((_, i) => (i >= first ? [i] : []));
}
