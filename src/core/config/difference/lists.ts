import type { ConfigObject } from '../typed-configuration.ts';
import { hasOwnName, memberKey, sameMember } from './member.ts';
import { align, longestIncreasing } from './sequence.ts';
import { leaves, likeness } from './value.ts';

/** An object and what became of it; at least one side is there. `moved`: its order among the others changed. */
export interface Pairing {
  readonly before: ConfigObject | null;
  readonly after: ConfigObject | null;
  readonly moved: boolean;
  /** Known to have the same value, comment and name of its own. */
  readonly same?: boolean;
}

/** Objects at least this alike are one object changed, not one removed and another added. */
const ALIKE = 0.5;
/** Above this many candidate pairs in one gap likeness is not computed; names and neighbourhood still are. */
const MOST_CANDIDATES = 40_000;

/**
 * Pairs the objects of one list whose order matters, as a sequence of values; those at either end that are the same in
 * all are left out. The answer for (after, before) is
 * the mirror of the answer for (before, after): the pairing is always computed in one fixed direction.
 */
export function pairLists(before: readonly ConfigObject[], after: readonly ConfigObject[]): Pairing[] {
  // Equal ends stay where they are, whatever lies between: there is nothing to say of them.
  const headings: Pairing[] = [];
  let start = 0;
  let [endBefore, endAfter] = [before.length, after.length];
  const stays = (i: number, j: number) => {
    const [b, a] = [before[i]!, after[j]!];
    if (!sameMember(b, a)) return false;
    if (b.section !== a.section) headings.push({ before: b, after: a, moved: false, same: true });
    return true;
  };
  while (start < endBefore && start < endAfter && stays(start, start)) start++;
  while (endBefore > start && endAfter > start && stays(endBefore - 1, endAfter - 1)) {
    endBefore--;
    endAfter--;
  }
  return [...headings, ...pairMiddle(before.slice(start, endBefore), after.slice(start, endAfter))];
}

function pairMiddle(before: readonly ConfigObject[], after: readonly ConfigObject[]): Pairing[] {
  const keysBefore = before.map(memberKey);
  const keysAfter = after.map(memberKey);
  if (inOrder(keysBefore, keysAfter)) return pair(before, after, keysBefore, keysAfter);
  return pair(after, before, keysAfter, keysBefore).map((p) => ({
    before: p.after,
    after: p.before,
    moved: p.moved,
    same: p.same === true,
  }));
}

function inOrder(a: readonly string[], b: readonly string[]): boolean {
  if (a.length !== b.length) return a.length < b.length;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return a[i]! < b[i]!;
  return true;
}

function pair(
  before: readonly ConfigObject[],
  after: readonly ConfigObject[],
  keysBefore: readonly string[],
  keysAfter: readonly string[],
): Pairing[] {
  const { kept, moved, onlyBefore, onlyAfter } = align(keysBefore, keysAfter);
  const joined: (readonly [number, number])[] = [...kept, ...moved];
  const same = new Set(joined);
  const restBefore = new Set(onlyBefore);
  const restAfter = new Set(onlyAfter);
  /** The gap between kept members that an index falls into. */
  const gapOf = (side: 0 | 1, index: number) => {
    let low = 0;
    let high = kept.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (kept[middle]![side] < index) low = middle + 1;
      else high = middle;
    }
    return low;
  };
  const join = (i: number, j: number) => {
    restBefore.delete(i);
    restAfter.delete(j);
    joined.push([i, j]);
  };
  for (const [i, j] of sameNames(before, after, restBefore, restAfter)) join(i, j);
  const gaps = new Map<number, { left: number[]; right: number[] }>();
  const gap = (number: number) => gaps.get(number) ?? gaps.set(number, { left: [], right: [] }).get(number)!;
  for (const i of restBefore) gap(gapOf(0, i)).left.push(i);
  for (const j of restAfter) gap(gapOf(1, j)).right.push(j);
  for (const { left, right } of gaps.values())
    for (const [i, j] of alike(before, after, left, right)) join(i, j);
  // Which ones moved is decided once all are paired: the most that keep their order stay.
  joined.sort((x, y) => x[0] - y[0]);
  const stay = longestIncreasing(joined.map(([, j]) => j));
  return [
    ...joined.map((pair, index) => ({
      before: before[pair[0]]!,
      after: after[pair[1]]!,
      moved: !stay.has(index),
      same: same.has(pair),
    })),
    ...[...restBefore].map((i) => ({ before: before[i]!, after: null, moved: false })),
    ...[...restAfter].map((j) => ({ before: null, after: after[j]!, moved: false })),
  ];
}

/** Members with the same own name, where that name is unique on both sides. */
function sameNames(
  before: readonly ConfigObject[],
  after: readonly ConfigObject[],
  left: ReadonlySet<number>,
  right: ReadonlySet<number>,
): [number, number][] {
  const unique = (objects: readonly ConfigObject[], among: ReadonlySet<number>) => {
    const names = new Map<string, number>();
    for (const index of among) {
      const object = objects[index]!;
      if (hasOwnName(object)) names.set(object.name, names.has(object.name) ? -1 : index);
    }
    return names;
  };
  const there = unique(after, right);
  const pairs: [number, number][] = [];
  for (const [name, i] of unique(before, left)) {
    const j = there.get(name) ?? -1;
    if (i >= 0 && j >= 0) pairs.push([i, j]);
  }
  return pairs;
}

/** The most alike pairs of a gap, each member once. */
function alike(
  before: readonly ConfigObject[],
  after: readonly ConfigObject[],
  left: readonly number[],
  right: readonly number[],
): [number, number][] {
  if (left.length * right.length > MOST_CANDIDATES) return [];
  const leavesRight = right.map((j) => leaves(after[j]!.value));
  const candidates: { a: number; b: number; score: number }[] = [];
  left.forEach((i, a) => {
    const own = leaves(before[i]!.value);
    right.forEach((_, b) => {
      const score = likeness(own, leavesRight[b]!);
      if (score >= ALIKE) candidates.push({ a, b, score });
    });
  });
  candidates.sort(
    (x, y) => y.score - x.score || Math.abs(x.a - x.b) - Math.abs(y.a - y.b) || x.a - y.a || x.b - y.b,
  );
  const takenLeft = new Set<number>();
  const takenRight = new Set<number>();
  const pairs: [number, number][] = [];
  for (const { a, b } of candidates) {
    if (takenLeft.has(a) || takenRight.has(b)) continue;
    takenLeft.add(a);
    takenRight.add(b);
    pairs.push([left[a]!, right[b]!]);
  }
  return pairs;
}
