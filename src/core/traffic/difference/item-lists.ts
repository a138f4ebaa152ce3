import type { RankedSide } from './ranks.ts';

export function hasChanged(side: RankedSide, list: Int32Array): boolean {
  for (let n = 0; n < list.length; n++) if (side.changed[list[n]!]) return true;
  return false;
}

export function hasLimit(sets: readonly (Int32Array | undefined)[], list: Int32Array): boolean {
  for (let n = 0; n < list.length; n++) if (sets[list[n]!] !== undefined) return true;
  return false;
}

/** Whether a list leads to an outcome over items that match everything. */
export function decided(side: RankedSide, list: Int32Array, rest: Int32Array, free: number): boolean {
  for (let n = 0; n < list.length; ) {
    const item = list[n]!;
    if (rest[item] !== free) return false;
    if (side.outcome[item]! >= 0) return true;
    n = placeOf(list, side.target[item]!);
  }
  return false;
}

/** Where a decided list ends. */
export function finalPlace(side: RankedSide, list: Int32Array): number {
  let n = 0;
  while (side.outcome[list[n]!]! < 0) n = placeOf(list, side.target[list[n]!]!);
  return n;
}

/** Where in the list a jump to `target` lands. */
export function placeOf(list: Int32Array, target: number): number {
  let low = 0;
  let high = list.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (list[middle]! < target) low = middle + 1;
    else high = middle;
  }
  return low;
}
