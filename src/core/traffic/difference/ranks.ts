import type { Box, FieldSet } from './fields.ts';
import type { Item, Outcome } from './program.ts';
import { rankSets, scaleOf, spanOf, valuesOf } from './scale.ts';

/** One side of a comparison with every set turned into ranks. Arrays are indexed by item. */
export interface RankedSide {
  readonly count: number;
  /** By field, then item: flat `[low, high, ...]` ranks; undefined means any. */
  readonly sets: readonly (Int32Array | undefined)[][];
  /** Outcome number, or -1 for an item that goes on at `target`. */
  readonly outcome: Int32Array;
  readonly target: Int32Array;
  readonly changed: Uint8Array;
  readonly cause: Int32Array;
}

export type SetNumbers = readonly (readonly [Int32Array, Int32Array])[];

/**
 * Both sides over ranks: between two neighbouring bounds of any rule all values are alike, so a rank stands for all.
 * Only the span that the regions cover is ranked; outside it nothing differs.
 */
export interface Ranked {
  readonly fields: number;
  /** How many ranks each field has. */
  readonly ranks: readonly number[];
  /** By field: a number for each item's set on both sides; 0 means any, equal numbers mean equal sets. */
  readonly numbers: SetNumbers;
  readonly before: RankedSide;
  readonly after: RankedSide;
  readonly outcomes: readonly Outcome[];
  /** The values of a field that a set of ranks stands for; undefined when they are all values. */
  valuesOf(field: number, ranks: Int32Array | undefined): FieldSet | undefined;
}

/** The boxes of both sides over ranks, without what the items do. */
export type RankedSpace = Omit<Ranked, 'before' | 'after' | 'outcomes'> & {
  readonly sets: { readonly before: RankedSide['sets']; readonly after: RankedSide['sets'] };
};

/** Ranks the boxes of two lists of items; they may be one and the same list. `tops` holds the highest value of each field. */
export function rankBoxes(
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
  tops: readonly number[],
): RankedSpace {
  const items = before === after ? before : [...before, ...after];
  const boxes = items.map(({ box }) => box);
  const split = before === after ? 0 : before.length;
  const scales = tops.map((top, f) => scaleOf(setsIn(f, boxes), spanOf(f, regions, top)));
  const ranked = scales.map((scale, f) => rankSets(boxes, f, scale));
  const numbers = ranked.map(({ of }) => [of.subarray(0, before.length), of.subarray(split)] as const);
  const setsOf = (side: 0 | 1) =>
    ranked.map(({ sets }, f) => Array.from(numbers[f]![side], (number) => sets[number]));
  const setsBefore = setsOf(0);
  return {
    fields: tops.length,
    ranks: scales.map((scale) => scale.starts.length),
    numbers,
    sets: { before: setsBefore, after: before === after ? setsBefore : setsOf(1) },
    valuesOf: (field, ranks) => valuesOf(scales[field]!, ranks, tops[field]!),
  };
}

/** Both lists with what the items do, over boxes that were ranked: those of the same lists, or of lists with the same boxes. */
export function rankItems(
  { sets, ...space }: RankedSpace,
  before: readonly Item[],
  after: readonly Item[],
): Ranked {
  const outcomes: Outcome[] = [];
  const outcomeIds = new Map<string, number>();
  const idOf = (outcome: Outcome): number => {
    let id = outcomeIds.get(outcome.key);
    if (id === undefined) {
      id = outcomes.length;
      outcomes.push(outcome);
      outcomeIds.set(outcome.key, id);
    }
    return id;
  };
  return {
    ...space,
    before: rankSide(before, sets.before, idOf),
    after: rankSide(after, sets.after, idOf),
    outcomes,
  };
}

/** The distinct sets by which boxes limit a field. */
function setsIn(field: number, boxes: readonly Box[]): Set<FieldSet> {
  const sets = new Set<FieldSet>();
  for (const box of boxes) {
    const set = box[field];
    if (set !== undefined) sets.add(set);
  }
  return sets;
}

function rankSide(
  items: readonly Item[],
  sets: RankedSide['sets'],
  idOf: (outcome: Outcome) => number,
): RankedSide {
  const count = items.length;
  const side: RankedSide = {
    count,
    sets,
    outcome: new Int32Array(count),
    target: new Int32Array(count),
    changed: new Uint8Array(count),
    cause: new Int32Array(count),
  };
  for (let i = 0; i < count; i++) {
    const item = items[i]!;
    side.outcome[i] = item.outcome === undefined ? -1 : idOf(item.outcome);
    side.target[i] = item.target;
    side.changed[i] = item.changed ? 1 : 0;
    side.cause[i] = item.cause;
  }
  return side;
}
