/** Two sequences of keys laid beside each other. Pairs are `[index in before, index in after]`, ascending. */
export interface Alignment {
  /** Equal keys that keep their order: they stay where they are. */
  readonly kept: readonly (readonly [number, number])[];
  /** Equal keys that changed their order. */
  readonly moved: readonly (readonly [number, number])[];
  readonly onlyBefore: readonly number[];
  readonly onlyAfter: readonly number[];
}

/**
 * Aligns two sequences: equal ends first, then the n-th occurrence of a key with the n-th on the other side; the
 * longest increasing chain of these pairs stays, the others moved (Schensted 1961, by patience sorting). O(n log n).
 */
export function align(before: readonly string[], after: readonly string[]): Alignment {
  const kept: [number, number][] = [];
  let start = 0;
  while (start < before.length && start < after.length && before[start] === after[start])
    kept.push([start, start++]);
  let endBefore = before.length;
  let endAfter = after.length;
  const tail: [number, number][] = [];
  while (endBefore > start && endAfter > start && before[endBefore - 1] === after[endAfter - 1])
    tail.push([--endBefore, --endAfter]);

  const places = new Map<string, number[]>();
  for (let j = endAfter - 1; j >= start; j--) {
    const known = places.get(after[j]!);
    if (known === undefined) places.set(after[j]!, [j]);
    else known.push(j);
  }
  const pairs: [number, number][] = [];
  const onlyBefore: number[] = [];
  for (let i = start; i < endBefore; i++) {
    const j = places.get(before[i]!)?.pop();
    if (j === undefined) onlyBefore.push(i);
    else pairs.push([i, j]);
  }
  const onlyAfter = [...places.values()].flat().sort((a, b) => a - b);
  const stay = longestIncreasing(pairs.map(([, j]) => j));
  const moved = pairs.filter((_, index) => !stay.has(index));
  kept.push(...pairs.filter((_, index) => stay.has(index)), ...tail.reverse());
  return { kept, moved, onlyBefore, onlyAfter };
}

/** Indices of one longest increasing subsequence of distinct numbers. */
export function longestIncreasing(numbers: readonly number[]): Set<number> {
  const tops: number[] = [];
  const previous = new Array<number>(numbers.length).fill(-1);
  for (let i = 0; i < numbers.length; i++) {
    let low = 0;
    let high = tops.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (numbers[tops[middle]!]! < numbers[i]!) low = middle + 1;
      else high = middle;
    }
    if (low > 0) previous[i] = tops[low - 1]!;
    tops[low] = i;
  }
  const chain = new Set<number>();
  for (let i = tops.at(-1) ?? -1; i !== -1; i = previous[i]!) chain.add(i);
  return chain;
}
