import { openComparison } from '../difference/comparison.ts';
import { WAYS } from '../difference/difference.ts';
import { type Box, boxesOverlap } from '../difference/fields.ts';
import type { LoadedRule } from '../difference/load.ts';
import { type Slot, type Slots, slotsOf } from '../difference/slots.ts';
import { boxOf, firstView } from '../difference/view.ts';
import type { Policy, Rule } from '../policy.ts';
import { decidersOfFlow, type Purse } from './effect.ts';

/** Above this many rules that came, asking for each costs more than looking at all rules near them. */
const MOST_CAME = 200;

/**
 * Texts of the rules that may lose packets to rules that came, on any way: no other rule of before can newly be out of
 * reach. Where that can be asked, those that decide, before, on packets that the new rules match; else all that
 * share packets with a new rule in front of them.
 */
export function losersOf(before: Policy, after: Policy, purse: Purse): Set<string> {
  const losers = new Set<string>();
  for (const { path, family } of WAYS) {
    const both = slotsOf(before, after, path, family);
    const came = both.slots.map(cameIn);
    const count = came.reduce((sum, { length }) => sum + length, 0);
    if (count === 0) continue;
    const easy = count <= MOST_CAME && !both.slots.some(translates);
    const same = easy ? slotsOf(before, before, path, family) : null;
    const found = (same === null ? null : deciding(both, same, came, purse)) ?? overlapping(both);
    for (const { origin } of found) losers.add(origin.text);
  }
  return losers;
}

/** Null where the budget did not suffice to find out. */
function deciding(both: Slots, same: Slots, came: readonly (readonly Rule[])[], purse: Purse): Rule[] | null {
  const found: Rule[] = [];
  for (const [at, rules] of came.entries()) {
    for (const { match } of rules) {
      for (const slot of slotsFrom(same, both.slots[at]!)) {
        const deciders = decidersOfFlow(same, slot, match, purse);
        if (deciders === undefined) return null;
        found.push(...deciders);
      }
    }
  }
  return found;
}

/**
 * Rules behind a new one with which they share packets, as they stand. Behind a translation a packet is another one, so
 * that every rule there counts.
 */
function overlapping(both: Slots): Rule[] {
  const comparison = openComparison(both);
  const view = firstView(both.path);
  const boxIn = (rule: LoadedRule) => boxOf(rule, view, comparison);
  const found: Rule[] = [];
  let earlier: Box[] = [];
  let translated = false;
  for (const slot of both.slots) {
    const { stage, isChanged } = slot.after;
    const boxes = [...earlier];
    for (const [i, loaded] of (stage?.rules ?? []).entries()) {
      const box = boxIn(loaded);
      if (box === undefined) continue;
      if (!isChanged.has(i)) {
        if (translated || boxes.some((other) => boxesOverlap(other, box))) found.push(loaded.rule);
      } else if (!('skip' in loaded.rule.action)) boxes.push(box);
    }
    earlier = boxes;
    if (boxes.length > 0 && translates(slot)) translated = true;
  }
  return found;
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
