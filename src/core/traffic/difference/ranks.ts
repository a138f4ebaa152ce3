import type { Family } from '#core/address';
import { type Box, type FieldSet, topOf } from './fields.ts';
import type { Item, Outcome } from './program.ts';
import { ranksOf, type Scale, scaleOf, spanOf, valuesOf } from './scale.ts';

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

/**
 * Both sides over ranks: between two neighbouring bounds of any rule all values are alike, so a rank stands for all.
 * Only the span that the regions cover is ranked; outside it nothing differs.
 */
export interface Ranked {
  readonly fields: number;
  /** How many ranks each field has. */
  readonly ranks: readonly number[];
  readonly before: RankedSide;
  readonly after: RankedSide;
  readonly outcomes: readonly Outcome[];
  /** The values of a field that a set of ranks stands for; undefined when they are all values. */
  valuesOf(field: number, ranks: Int32Array | undefined): FieldSet | undefined;
}

export function rankItems(
  before: readonly Item[],
  after: readonly Item[],
  regions: readonly Box[],
  fields: number,
  family: Family,
  interfaces: (field: number) => number,
): Ranked {
  const scales = Array.from({ length: fields }, (_, f) => {
    const span = spanOf(f, regions, topOf(f, family, interfaces(f)));
    return scaleOf(setsIn(f, before, after), span);
  });
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
    fields,
    ranks: scales.map((scale) => scale.starts.length),
    before: rankSide(before, scales, idOf),
    after: rankSide(after, scales, idOf),
    outcomes,
    valuesOf: (field, ranks) => valuesOf(scales[field]!, ranks, topOf(field, family, interfaces(field))),
  };
}

/** The distinct sets by which items limit a field. */
function setsIn(field: number, before: readonly Item[], after: readonly Item[]): Set<FieldSet> {
  const sets = new Set<FieldSet>();
  for (const items of [before, after]) {
    for (const { box } of items) {
      const set = box[field];
      if (set !== undefined) sets.add(set);
    }
  }
  return sets;
}

function rankSide(
  items: readonly Item[],
  scales: readonly Scale[],
  idOf: (outcome: Outcome) => number,
): RankedSide {
  const count = items.length;
  const side: RankedSide = {
    count,
    sets: scales.map((scale, f) => {
      const known = new Map<FieldSet, Int32Array | undefined>();
      return items.map(({ box }) => {
        const set = box[f];
        if (set === undefined) return undefined;
        if (!known.has(set)) known.set(set, ranksOf(set, scale));
        return known.get(set);
      });
    }),
    outcome: new Int32Array(count),
    target: new Int32Array(count),
    changed: new Uint8Array(count),
    cause: new Int32Array(count),
  };
  for (const [i, item] of items.entries()) {
    side.outcome[i] = item.outcome === undefined ? -1 : idOf(item.outcome);
    side.target[i] = item.target;
    side.changed[i] = item.changed ? 1 : 0;
    side.cause[i] = item.cause;
  }
  return side;
}
