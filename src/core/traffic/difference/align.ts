import type { LoadedRule, LoadedStage } from './load.ts';

/**
 * Rules of one side without an equal on the other, ascending. All other rules of `before` and `after` pair up in
 * order: the n-th unchanged rule of one is the n-th unchanged rule of the other.
 */
export interface Alignment {
  readonly changedBefore: readonly number[];
  readonly changedAfter: readonly number[];
}

const NOTHING_CHANGED: Alignment = { changedBefore: [], changedAfter: [] };

/** Aligns two stages; a stage that is missing on one side is wholly changed. */
export function alignStages(before: LoadedStage | undefined, after: LoadedStage | undefined): Alignment {
  if (before === after) return NOTHING_CHANGED;
  if (before === undefined || after === undefined || before.kind !== after.kind) {
    return { changedBefore: indexes(before), changedAfter: indexes(after) };
  }
  if (sameRules(before.rules, after.rules)) return NOTHING_CHANGED;
  return alignRules(before.rules, after.rules, before.skips);
}

function indexes(stage: LoadedStage | undefined): number[] {
  return stage === undefined ? [] : stage.rules.map((_, i) => i);
}

function skipOf({ rule }: LoadedRule): number {
  return 'skip' in rule.action ? rule.action.skip : -1;
}

function sameRules(a: readonly LoadedRule[], b: readonly LoadedRule[]): boolean {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) {
    if (!a[i]!.isLike(b[i]!) || skipOf(a[i]!) !== skipOf(b[i]!)) return false;
  }
  return true;
}

function alignRules(a: readonly LoadedRule[], b: readonly LoadedRule[], skips: readonly number[]): Alignment {
  let start = 0;
  while (start < a.length && start < b.length && a[start]!.isLike(b[start]!)) start++;
  let endA = a.length;
  let endB = b.length;
  while (endA > start && endB > start && a[endA - 1]!.isLike(b[endB - 1]!)) {
    endA--;
    endB--;
  }
  const keysOf = (rules: readonly LoadedRule[], end: number) => rules.slice(start, end).map(({ key }) => key);
  const middle = longestCommon(keysOf(a, endA), keysOf(b, endB));
  const changedBefore = middle.onlyA.map((i) => i + start);
  const changedAfter = middle.onlyB.map((i) => i + start);
  return alignSkips(a, b, skips, changedBefore, changedAfter);
}

/**
 * A skip pairs up only if both land before the same unchanged rule. Where they do not, both count as changed;
 * that can unpair nothing else, because the rules between are changed already.
 */
function alignSkips(
  a: readonly LoadedRule[],
  b: readonly LoadedRule[],
  skips: readonly number[],
  changedBefore: number[],
  changedAfter: number[],
): Alignment {
  const moreA: number[] = [];
  const moreB: number[] = [];
  const isChanged = new Set(changedBefore);
  for (const i of skips) {
    const skipA = skipOf(a[i]!);
    if (isChanged.has(i)) continue;
    const j = unchangedAt(i - countBelow(changedBefore, i), changedAfter);
    const landsA = skipA - countBelow(changedBefore, skipA);
    const skipB = skipOf(b[j]!);
    if (landsA !== skipB - countBelow(changedAfter, skipB)) {
      moreA.push(i);
      moreB.push(j);
    }
  }
  if (moreA.length === 0) return { changedBefore, changedAfter };
  const ascending = (x: number, y: number) => x - y;
  return {
    changedBefore: [...changedBefore, ...moreA].sort(ascending),
    changedAfter: [...changedAfter, ...moreB].sort(ascending),
  };
}

/** How many of the ascending numbers are below a bound. */
function countBelow(ascending: readonly number[], bound: number): number {
  let low = 0;
  let high = ascending.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (ascending[middle]! < bound) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Where the n-th unchanged rule stands, counted from 0. */
function unchangedAt(n: number, changed: readonly number[]): number {
  let low = n;
  let high = n + changed.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (middle + 1 - countBelow(changed, middle + 1) > n) high = middle;
    else low = middle + 1;
  }
  return low;
}

interface Leftovers {
  readonly onlyA: number[];
  readonly onlyB: number[];
}

/** Above this many edits the exact alignment would cost more than it saves. */
const MOST_EDITS = 1500;

/** What a long common subsequence leaves over on both sides. It need not be the longest: any pairing is correct. */
function longestCommon(a: readonly string[], b: readonly string[]): Leftovers {
  const all = (list: readonly string[]) => list.map((_, i) => i);
  if (a.length === 0 || b.length === 0) return { onlyA: all(a), onlyB: all(b) };
  return shortestEdit(a, b) ?? byAnchors(a, b);
}

/** E. W. Myers, "An O(ND) difference algorithm and its variations", Algorithmica 1 (1986), the basic form. */
function shortestEdit(a: readonly string[], b: readonly string[]): Leftovers | undefined {
  const most = Math.min(MOST_EDITS, a.length + b.length);
  const furthest = new Int32Array(2 * most + 3);
  const middle = most + 1;
  const history: Int32Array[] = [];
  for (let d = 0; d <= most; d++) {
    history.push(furthest.slice(middle - d - 1, middle + d + 2));
    for (let k = -d; k <= d; k += 2) {
      const down = k === -d || (k !== d && furthest[middle + k - 1]! < furthest[middle + k + 1]!);
      let x = down ? furthest[middle + k + 1]! : furthest[middle + k - 1]! + 1;
      while (x < a.length && x - k < b.length && a[x] === b[x - k]) x++;
      furthest[middle + k] = x;
      if (x >= a.length && x - k >= b.length) return walkBack(history, a.length, b.length);
    }
  }
  return undefined;
}

function walkBack(history: readonly Int32Array[], lengthA: number, lengthB: number): Leftovers {
  const onlyA: number[] = [];
  const onlyB: number[] = [];
  let x = lengthA;
  let y = lengthB;
  for (let d = history.length - 1; d > 0; d--) {
    const furthest = history[d]!;
    const at = (k: number) => furthest[k + d + 1]!;
    const k = x - y;
    const down = k === -d || (k !== d && at(k - 1) < at(k + 1));
    const from = down ? k + 1 : k - 1;
    x = at(from);
    y = x - from;
    if (down) onlyB.push(y);
    else onlyA.push(x);
  }
  return { onlyA: onlyA.reverse(), onlyB: onlyB.reverse() };
}

/** For sides far apart: pair the rules that occur once on each side and stand in the same order, and nothing else. */
function byAnchors(a: readonly string[], b: readonly string[]): Leftovers {
  const placeInB = new Map<string, number>();
  for (const [j, key] of b.entries()) placeInB.set(key, placeInB.has(key) ? -1 : j);
  const countInA = new Map<string, number>();
  for (const key of a) countInA.set(key, (countInA.get(key) ?? 0) + 1);
  const pairs: [number, number][] = [];
  for (const [i, key] of a.entries()) {
    const j = placeInB.get(key) ?? -1;
    if (j >= 0 && countInA.get(key) === 1) pairs.push([i, j]);
  }
  const kept = longestRising(pairs.map(([, j]) => j)).map((n) => pairs[n]!);
  const keptA = new Set(kept.map(([i]) => i));
  const keptB = new Set(kept.map(([, j]) => j));
  return {
    onlyA: a.map((_, i) => i).filter((i) => !keptA.has(i)),
    onlyB: b.map((_, j) => j).filter((j) => !keptB.has(j)),
  };
}

/** Indexes of a longest rising subsequence, by patience sorting. */
function longestRising(values: readonly number[]): number[] {
  const piles: number[] = [];
  const previous = new Int32Array(values.length).fill(-1);
  for (const [i, value] of values.entries()) {
    let low = 0;
    let high = piles.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (values[piles[middle]!]! < value) low = middle + 1;
      else high = middle;
    }
    if (low > 0) previous[i] = piles[low - 1]!;
    piles[low] = i;
  }
  const rising: number[] = [];
  for (let i = piles.at(-1) ?? -1; i >= 0; i = previous[i]!) rising.push(i);
  return rising.reverse();
}
