import type { Family } from '#core/address';
import { stagesOf } from '../decide.ts';
import type { Path, Policy } from '../policy.ts';
import { alignStages } from './align.ts';
import { type LoadedStage, loadStage } from './load.ts';

export type Side = 'before' | 'after';

/** One side of a slot: the stage that stands there, if any, and its rules that the other side lacks. */
export interface SlotSide {
  readonly stage: LoadedStage | undefined;
  readonly changed: readonly number[];
  readonly isChanged: ReadonlySet<number>;
  /** Rules left out, to ask what the policy does without them. */
  readonly omit: ReadonlySet<number>;
}

/** One place in the order of stages where the stages of both sides meet. */
export interface Slot {
  readonly before: SlotSide;
  readonly after: SlotSide;
}

/** The slots of one path, followed by those of path `to` where a redirect may lead there. */
export interface Slots {
  readonly family: Family;
  readonly path: Path;
  readonly slots: readonly Slot[];
  /** How many belong to the path itself. */
  readonly own: number;
}

/** Lays the stages of both policies side by side and aligns their rules. */
export function slotsOf(before: Policy, after: Policy, path: Path, family: Family): Slots {
  const own = bothSides(before, after, path, family);
  const redirects =
    path === 'through' && own.some((slot) => hasRedirect(slot.before) || hasRedirect(slot.after));
  const more = redirects ? bothSides(before, after, 'to', family) : [];
  return { family, path, slots: [...own, ...more], own: own.length };
}

function bothSides(before: Policy, after: Policy, path: Path, family: Family): Slot[] {
  const loaded = stagesOf(before, path, family).map((stage) => loadStage(stage, family));
  return sideBySide(
    loaded,
    stagesOf(after, path, family).map((stage) =>
      loadStage(
        stage,
        family,
        loaded.find(({ name }) => name === stage.name),
      ),
    ),
  );
}

function hasRedirect({ stage }: SlotSide): boolean {
  return (
    stage?.kind === 'nat' &&
    stage.rules.some(({ rule: { action } }) => 'rewrite' in action && action.rewrite.kind === 'redirect')
  );
}

/** Pairs stages by name, and those between two pairs by their order when they are of the same number and kinds. */
function sideBySide(before: readonly LoadedStage[], after: readonly LoadedStage[]): Slot[] {
  const slots: Slot[] = [];
  let a = 0;
  let b = 0;
  const gap = (endA: number, endB: number) => {
    const restA = before.slice(a, endA);
    const restB = after.slice(b, endB);
    if (restA.length === restB.length && restA.every((s, i) => s.kind === restB[i]!.kind)) {
      for (const [i, stage] of restA.entries()) slots.push(slot(stage, restB[i]));
    } else {
      for (const stage of restA) slots.push(slot(stage, undefined));
      for (const stage of restB) slots.push(slot(undefined, stage));
    }
    a = endA;
    b = endB;
  };
  for (const [i, stage] of before.entries()) {
    const j = after.findIndex(
      (other, at) => at >= b && other.name === stage.name && other.kind === stage.kind,
    );
    if (j < 0) continue;
    gap(i, j);
    slots.push(slot(stage, after[j]));
    a = i + 1;
    b = j + 1;
  }
  gap(before.length, after.length);
  return slots;
}

function slot(before: LoadedStage | undefined, after: LoadedStage | undefined): Slot {
  const { changedBefore, changedAfter } = alignStages(before, after);
  return { before: slotSide(before, changedBefore), after: slotSide(after, changedAfter) };
}

const NONE: ReadonlySet<number> = new Set();

function slotSide(stage: LoadedStage | undefined, changed: readonly number[]): SlotSide {
  return { stage, changed, isChanged: new Set(changed), omit: NONE };
}

/** One policy against itself without some rules of one slot. */
export function slotsWithout(same: Slots, slot: number, rules: readonly number[]): Slots {
  const out = new Set(rules);
  const slots = same.slots.map((s, i) =>
    i !== slot
      ? s
      : { before: { ...s.before, changed: rules, isChanged: out }, after: { ...s.after, omit: out } },
  );
  return { ...same, slots };
}

/** A policy as far as one of its slots: what that slot accepts leaves accepted. */
export function slotsUpTo(all: Slots, slot: number): Slots {
  return { ...all, slots: all.slots.slice(0, slot + 1), own: slot + 1 };
}

/** The slot that a packet enters after leaving `slot`, or -1 at the end of its way. */
export function nextSlot({ slots, own }: Slots, slot: number): number {
  const next = slot + 1;
  return next === own || next === slots.length ? -1 : next;
}

/** Where a redirect in `slot` leads: behind the stage of the same name on path `to`, or -1 for the end. */
export function redirectSlot(all: Slots, slot: number, side: Side): number {
  if (all.path !== 'through' || slot >= all.own) return nextSlot(all, slot);
  const name = all.slots[slot]![side].stage?.name;
  const at = all.slots.findIndex((s, i) => i >= all.own && s[side].stage?.name === name);
  return at < 0 ? -1 : nextSlot(all, at);
}
