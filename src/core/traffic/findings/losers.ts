import { openComparison } from '../difference/comparison.ts';
import { WAYS } from '../difference/difference.ts';
import { type Box, boxesOverlap } from '../difference/fields.ts';
import type { LoadedRule } from '../difference/load.ts';
import { goesAround } from '../difference/program.ts';
import { type Slot, type Slots, slotsOf } from '../difference/slots.ts';
import { boxOf, firstView } from '../difference/view.ts';
import type { Policy, Rule } from '../policy.ts';
import { decidersOfFlow, type Purse } from './effect.ts';

/** Above this many changed rules, asking for each costs more than looking at all rules near them. */
const MOST_CAME = 200;

/**
 * Texts of the rules that may lose packets to a change, on any way: no other rule of before can newly be out of reach.
 * Packets are lost to rules that came, and where a rule that led past others, or translated, went. Where that can be
 * asked, those that decide, before, on packets that such rules match; else all behind one that share packets with it.
 */
export function losersOf(before: Policy, after: Policy, purse: Purse): Set<string> {
  const losers = new Set<string>();
  for (const { path, family } of WAYS) {
    const both = slotsOf(before, after, path, family);
    const movers = both.slots.map(moversIn);
    const count = movers.reduce((sum, { length }) => sum + length, 0);
    if (count === 0) continue;
    const easy = count <= MOST_CAME && !both.slots.some(translates);
    const same = easy ? slotsOf(before, before, path, family) : null;
    const found = (same === null ? null : deciding(both, same, movers, purse)) ?? overlapping(both);
    for (const { origin } of found) losers.add(origin.text);
  }
  return losers;
}

/** Null where the budget did not suffice to find out. */
function deciding(
  both: Slots,
  same: Slots,
  movers: readonly (readonly LoadedRule[])[],
  purse: Purse,
): Rule[] | null {
  const found: Rule[] = [];
  for (const [at, rules] of movers.entries()) {
    for (const { rule } of rules) {
      for (const slot of slotsFrom(same, both.slots[at]!)) {
        const deciders = decidersOfFlow(same, slot, rule.match, purse);
        if (deciders === undefined) return null;
        found.push(...deciders);
      }
    }
  }
  return found;
}

/**
 * Rules behind a changed one with which they share packets, as they stand; one that went counts from the start of its
 * stage on. Behind a translation a packet is another one, so that every rule there counts.
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
    const gone = wentIn(slot).map(boxIn);
    const boxes = [...earlier, ...gone.filter((box) => box !== undefined)];
    for (const [i, loaded] of (stage?.rules ?? []).entries()) {
      const box = boxIn(loaded);
      if (box === undefined) continue;
      if (!isChanged.has(i)) {
        if (translated || boxes.some((other) => boxesOverlap(other, box))) found.push(loaded.rule);
      } else if (!goesAround(loaded.rule, i, isChanged)) boxes.push(box);
    }
    earlier = boxes;
    if (boxes.length > 0 && translates(slot)) translated = true;
  }
  return found;
}

/** Changed rules of a slot to which others may lose packets. */
function moversIn(slot: Slot): LoadedRule[] {
  const { stage, changed, isChanged } = slot.after;
  const came = changed.flatMap((i) => {
    const loaded = stage!.rules[i]!;
    return goesAround(loaded.rule, i, isChanged) ? [] : [loaded];
  });
  return [...came, ...wentIn(slot)];
}

/** Rules that went, and led packets past others or made them other packets. */
function wentIn({ before: { stage, changed, isChanged } }: Slot): LoadedRule[] {
  return changed.flatMap((i) => {
    const loaded = stage!.rules[i]!;
    const { action } = loaded.rule;
    const moved = 'rewrite' in action || ('skip' in action && !goesAround(loaded.rule, i, isChanged));
    return moved ? [loaded] : [];
  });
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
