import type { Rewrite, Rule, Verdict } from '../policy.ts';
import { type Box, boxesOverlap, intersectBoxes, isWithin } from './fields.ts';
import type { LoadedRule, LoadedStage } from './load.ts';
import { nearness } from './near.ts';
import { Regions } from './regions.ts';
import { nextSlot, redirectSlot, type Side, type Slots } from './slots.ts';
import {
  type BoxContext,
  boxOf,
  causedView,
  firstView,
  setsMeet,
  translatedView,
  type View,
} from './view.ts';

/** How a packet leaves the policy, or where it still has to go when that is the same on both sides. */
export interface Outcome {
  readonly key: string;
  readonly verdict: Verdict;
  readonly rewrites: readonly Rewrite[];
  /** Set for an outcome that was not followed to its end: the view in which the rest has to be opened. */
  readonly unopened?: string;
}

/** One rule as the engine runs it: on a match either an outcome, or go on at a later item. */
export interface Item {
  readonly box: Box;
  /** Undefined for an item that goes on. */
  readonly outcome: Outcome | undefined;
  /** Where it goes on: an index into the items. Only meaningful without an outcome. */
  target: number;
  /** A rule that the other side lacks. */
  readonly changed: boolean;
  /** The number of the changed rule that this outcome is owed to, or -1. */
  readonly cause: number;
  readonly rule: LoadedRule | undefined;
}

/** A region that a changed rule can touch, in terms of packets as they arrive. */
export interface Interest {
  readonly box: Box;
  /** Which changed rule in which view: `side/slot/rule/view`. */
  readonly owner: string;
}

/** Everything a comparison of one path and family shares between its steps. */
export interface Comparison extends BoxContext {
  readonly slots: Slots;
  /** The number of a changed rule, for naming it as a cause. */
  causeOf(side: Side, slot: number, rule: number): number;
  /** Whether so few changed rules let packets pass that each can be followed through the later stages. */
  readonly followCauses: boolean;
  /** Views, as `slot/view`, whose rest of the way has to be opened. */
  readonly opened: Set<string>;
  /** Every way is followed to its end, whether or not anything changed on it. */
  readonly openAll: boolean;
  /** Keep also what no packet of the regions can get to, so that both sides agree everywhere outside them. */
  readonly untrimmed?: boolean;
}

const EVERYTHING: Box = [];

function ownerOf(side: Side, slot: number, rule: number, view: View): string {
  return `${side}/${slot}/${rule}/${view.key}`;
}

/** Where a packet goes after `rule` in `slot` has rewritten it. */
function afterRewrite(comparison: Comparison, side: Side, slot: number, view: View, rewrite: Rewrite) {
  const { slots } = comparison;
  const to = rewrite.kind === 'redirect' ? redirectSlot(slots, slot, side) : nextSlot(slots, slot);
  return { to, view: translatedView(view, rewrite, slots.family) };
}

/** Whether any changed rule from `slot` on can match packets in this view. If not, the rest is the same on both sides. */
function restChanged(comparison: Comparison, slot: number, view: View): boolean {
  const { slots } = comparison;
  for (let s = slot; s >= 0; s = nextSlot(slots, s)) {
    for (const side of ['before', 'after'] as const) {
      const { stage, changed } = slots.slots[s]![side];
      if (changed.some((i) => boxOf(stage!.rules[i]!, view, comparison) !== undefined)) return true;
    }
  }
  return false;
}

/**
 * Does a changed rule only go on behind other changed rules (the way around a chain that a new rule calls)? By itself
 * it then changes nothing: packets that match none of those would come to the same place through them.
 */
export function goesAround({ action }: Rule, index: number, isChanged: ReadonlySet<number>): boolean {
  if (!('skip' in action)) return false;
  for (let i = index + 1; i < action.skip; i++) if (!isChanged.has(i)) return false;
  return true;
}

/** All regions where the two sides may differ: outside them both follow the same rules. */
export function interestsOf(comparison: Comparison, side: Side): Interest[] {
  const { slots } = comparison;
  const interests: Interest[] = [];
  const visit = (start: number, view: View, entry: Box): void => {
    for (let s = start; s >= 0; s = nextSlot(slots, s)) {
      const { stage, changed, isChanged, omit } = slots.slots[s]![side];
      if (stage === undefined) continue;
      const isAsked = isAskedAt(slots, s);
      for (const i of changed) {
        if (!isAsked && goesAround(stage.rules[i]!.rule, i, isChanged)) continue;
        const box = boxOf(stage.rules[i]!, view, comparison);
        const both = box === undefined ? undefined : intersectBoxes(entry, box);
        if (both !== undefined) interests.push({ box: both, owner: ownerOf(side, s, i, view) });
      }
      if (stage.kind !== 'nat') continue;
      for (const [i, rule] of stage.rules.entries()) {
        if (!('rewrite' in rule.rule.action) || omit.has(i)) continue;
        const next = afterRewrite(comparison, side, s, view, rule.rule.action.rewrite);
        if (next.to < 0) continue;
        const openKey = `${next.to}/${next.view.key}`;
        if (!comparison.opened.has(openKey)) {
          if (!restChanged(comparison, next.to, next.view)) continue;
          comparison.opened.add(openKey);
        }
        const box = boxOf(rule, view, comparison);
        const both = box === undefined ? undefined : intersectBoxes(entry, box);
        if (both !== undefined) visit(next.to, next.view, both);
      }
    }
  };
  if (slots.own > 0) visit(0, firstView(slots.path), EVERYTHING);
  return interests;
}

/** Is it asked what rules of this slot do? They count then whatever they are, and are looked behind. */
function isAskedAt({ slots }: Slots, slot: number): boolean {
  return slots[slot]!.after.omit.size > 0;
}

interface Segment {
  readonly view: View;
  /** Item indexes and the rule index each stands for, both ascending. */
  readonly start: number;
  readonly ruleIndexes: number[];
  end: number;
}

interface Jump {
  readonly item: Item;
  readonly segment: string;
  readonly rule: number;
}

/**
 * One side as a list of items with forward jumps only, holding just the rules that share a packet with one of the
 * regions. A stage is repeated for each view in which packets reach it.
 */
export function programOf(
  comparison: Comparison,
  side: Side,
  regions: readonly Box[],
  owners: ReadonlySet<string>,
): Item[] {
  const { slots } = comparison;
  const items: Item[] = [];
  const waiting = slots.slots.map(() => new Map<string, View>());
  const segments = new Map<string, Segment>();
  const jumps: Jump[] = [];
  const near = nearness(regions, comparison);
  // What is near the only region has been told from it by interfaces already.
  const [only] = regions.length === 1 ? regions : [];
  const meeting = only === undefined ? new Regions(regions, comparison) : undefined;
  const meets = (stage: LoadedStage, i: number, view: View) =>
    meeting === undefined ? setsMeet(stage.rules[i]!, view, only!) : meeting.mayMeet(stage, i, view);
  const overlaps = (stage: LoadedStage, i: number, view: View, box: Box) =>
    meeting === undefined ? boxesOverlap(only!, box) : meeting.overlap(stage, i, view, box);
  const segmentKey = (slot: number, view: View) => `${slot}/${view.key}/${view.cause}`;

  const add = (
    box: Box,
    outcome: Outcome | undefined,
    changed = false,
    cause = -1,
    rule?: LoadedRule,
  ): Item => {
    const item: Item = { box, outcome, target: -1, changed, cause, rule };
    items.push(item);
    return item;
  };
  const enter = (item: Item, slot: number, view: View) => {
    waiting[slot]!.set(segmentKey(slot, view), view);
    jumps.push({ item, segment: segmentKey(slot, view), rule: 0 });
  };
  /** An item after which the packet goes on to `slot` in `view`, or leaves accepted. */
  const leave = (slot: number, view: View, box: Box, changed: boolean, cause: number, rule?: LoadedRule) => {
    const through = cause >= 0 ? causedView(view, cause) : view;
    if (slot < 0) add(box, accepted(view), changed, through.cause, rule);
    else enter(add(box, undefined, changed, -1, rule), slot, through);
  };

  if (slots.slots.length > 0 && slots.own > 0) {
    const first = firstView(slots.path);
    waiting[0]!.set(segmentKey(0, first), first);
  }
  for (let s = 0; s < slots.slots.length; s++) {
    const { stage, isChanged, omit } = slots.slots[s]![side];
    const isAsked = isAskedAt(slots, s);
    const next = nextSlot(slots, s);
    for (const [key, view] of waiting[s]!) {
      const segment: Segment = { view, start: items.length, ruleIndexes: [], end: 0 };
      segments.set(key, segment);
      let landing = 0;
      for (const i of stage === undefined ? [] : near(stage, view)) {
        if (omit.has(i)) continue;
        const rule = stage!.rules[i]!;
        if (!meets(stage!, i, view)) continue;
        const box = boxOf(rule, view, comparison);
        if (box === undefined || !overlaps(stage!, i, view, box)) continue;
        segment.ruleIndexes.push(i);
        const changed = isChanged.has(i) && owners.has(ownerOf(side, s, i, view));
        const cause = changed ? comparison.causeOf(side, s, i) : -1;
        const { action } = rule.rule;
        if ('skip' in action) {
          landing = Math.max(landing, action.skip);
          jumps.push({ item: add(box, undefined, changed, -1, rule), segment: key, rule: action.skip });
        } else if ('rewrite' in action) {
          const to = afterRewrite(comparison, side, s, view, action.rewrite);
          const openKey = `${to.to}/${to.view.key}`;
          if (to.to < 0 || comparison.openAll || comparison.opened.has(openKey)) {
            leave(to.to, to.view, box, changed, cause, rule);
          } else {
            add(box, unopened(openKey, to.view), changed, cause, rule);
          }
        } else if (action.verdict === 'accept') {
          leave(next, view, box, changed, comparison.followCauses || next < 0 ? cause : -1, rule);
        } else {
          add(box, { key: action.verdict, verdict: action.verdict, rewrites: [] }, changed, cause, rule);
        }
        // Nothing in the regions gets past a rule that holds them all, unless it lands further down.
        const trims = !comparison.untrimmed && !('skip' in action) && i >= landing && !(isAsked && changed);
        if (trims && regions.every((region) => isWithin(region, box))) break;
      }
      segment.end = items.length;
      leave(next, view, EVERYTHING, false, -1);
    }
  }
  if (items.length === 0) add(EVERYTHING, accepted(firstView(slots.path)));
  for (const { item, segment, rule } of jumps) item.target = positionOf(segments.get(segment)!, rule);
  return items;
}

function accepted({ key, rewrites }: View): Outcome {
  return { key: `accept ${key}`, verdict: 'accept', rewrites };
}

function unopened(openKey: string, view: View): Outcome {
  return { key: `goes on ${openKey}`, verdict: 'accept', rewrites: view.rewrites, unopened: openKey };
}

/** The item of the first kept rule at or behind `rule`, or the segment's last item. */
function positionOf(segment: Segment, rule: number): number {
  const { ruleIndexes } = segment;
  let low = 0;
  let high = ruleIndexes.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (ruleIndexes[middle]! < rule) low = middle + 1;
    else high = middle;
  }
  return segment.start + low;
}
