/**
 * A set of non-negative integers as flat bounds `[low, high, low, high, ...]`: sorted, disjoint, never
 * adjacent, so equal sets look equal. Used for ports, protocols and ICMP types.
 */
export type NumberSet = readonly number[];

/** A set from `[low, high]` pairs in any order. Pairs with `low` above `high` hold nothing. */
export function numberSet(pairs: readonly (readonly [number, number])[]): NumberSet {
  const [only] = pairs;
  if (pairs.length === 1) return only![0] <= only![1] ? [only![0], only![1]] : [];
  const sorted = inOrder(pairs)
    ? pairs
    : pairs.filter(([low, high]) => low <= high).sort((a, b) => a[0] - b[0]);
  const bounds = new Array<number>(sorted.length * 2);
  let count = 0;
  for (const [low, high] of sorted) {
    if (count === 0 || low > bounds[count - 1]! + 1) {
      bounds[count++] = low;
      bounds[count++] = high;
    } else if (high > bounds[count - 1]!) bounds[count - 1] = high;
  }
  bounds.length = count;
  return bounds;
}

function inOrder(pairs: readonly (readonly [number, number])[]): boolean {
  let last = -1;
  for (const [low, high] of pairs) {
    if (low < last || low > high) return false;
    last = low;
  }
  return true;
}

/** The set of exactly these numbers. */
export function numbers(...values: readonly number[]): NumberSet {
  return numberSet(values.map((value) => [value, value]));
}

/** Bounds as `[low, high]` pairs. */
export function pairsOf(set: NumberSet): [number, number][] {
  const pairs: [number, number][] = [];
  for (let i = 0; i < set.length; i += 2) pairs.push([set[i]!, set[i + 1]!]);
  return pairs;
}

/** Numbers in either set. */
export function uniteNumbers(a: NumberSet, b: NumberSet): NumberSet {
  return numberSet([...pairsOf(a), ...pairsOf(b)]);
}

/** Numbers in both sets. */
export function intersectNumbers(a: NumberSet, b: NumberSet): NumberSet {
  const bounds: number[] = [];
  let i = 0;
  let j = 0;
  while (i < a.length && j < b.length) {
    const low = Math.max(a[i]!, b[j]!);
    const high = Math.min(a[i + 1]!, b[j + 1]!);
    if (low <= high) bounds.push(low, high);
    if (a[i + 1]! < b[j + 1]!) i += 2;
    else j += 2;
  }
  return bounds;
}

/** Numbers from 0 to `top` that are not in the set. */
export function exceptNumbers(set: NumberSet, top: number): NumberSet {
  const bounds: number[] = [];
  let from = 0;
  for (let i = 0; i < set.length; i += 2) {
    if (from < set[i]!) bounds.push(from, Math.min(top, set[i]! - 1));
    from = set[i + 1]! + 1;
  }
  if (from <= top) bounds.push(from, top);
  return bounds;
}

/** Whether the number is in the set. */
export function hasNumber(set: NumberSet, value: number): boolean {
  for (let i = 0; i < set.length; i += 2) {
    if (value < set[i]!) return false;
    if (value <= set[i + 1]!) return true;
  }
  return false;
}
