function boundsIn(sets: readonly (Int32Array | undefined)[], list: Int32Array): number {
  let bounds = 0;
  for (const item of list) bounds += sets[item]?.length ?? 0;
  return bounds;
}

/** What {@link cutsOf} gives, by sorting. */
function sortedCuts(
  setsA: readonly (Int32Array | undefined)[],
  a: Int32Array,
  setsB: readonly (Int32Array | undefined)[],
  b: Int32Array,
  low: number,
  high: number,
  bounds: number,
): Int32Array {
  const cuts = new Int32Array(bounds + 1);
  let n = 0;
  cuts[n++] = low;
  for (let s = 0; s < 2; s++) {
    const sets = s === 0 ? setsA : setsB;
    for (const item of s === 0 ? a : b) {
      const set = sets[item];
      if (set === undefined) continue;
      for (let i = 0; i < set.length; i++) {
        // A set's second bounds are within it: the cut is behind.
        const cut = set[i]! + (i & 1);
        if (cut > low && cut <= high) cuts[n++] = cut;
      }
    }
  }
  const sorted = cuts.subarray(0, n).sort();
  let kept = 1;
  for (let i = 1; i < n; i++) if (sorted[i] !== sorted[i - 1]) sorted[kept++] = sorted[i]!;
  return sorted.subarray(0, kept);
}

/** The first rank of each part of [low, high] within which no item begins or ends, ascending. */
export function cutsOf(
  setsA: readonly (Int32Array | undefined)[],
  a: Int32Array,
  setsB: readonly (Int32Array | undefined)[],
  b: Int32Array,
  low: number,
  high: number,
): Int32Array {
  const bounds = boundsIn(setsA, a) + boundsIn(setsB, b);
  // Few bounds far apart: to sort them is less than to look at all ranks between.
  if (bounds < (high - low) >> 3) return sortedCuts(setsA, a, setsB, b, low, high, bounds);
  const marks = new Uint8Array(high - low + 2);
  marks[0] = 1;
  let count = 1;
  for (let s = 0; s < 2; s++) {
    const list = s === 0 ? a : b;
    const sets = s === 0 ? setsA : setsB;
    for (let n = 0; n < list.length; n++) {
      const set = sets[list[n]!];
      if (set === undefined) continue;
      for (let i = 0; i < set.length; i += 2) {
        const first = set[i]! - low;
        const next = set[i + 1]! + 1 - low;
        if (first > 0 && first <= high - low && marks[first] === 0) {
          marks[first] = 1;
          count++;
        }
        if (next > 0 && next <= high - low && marks[next] === 0) {
          marks[next] = 1;
          count++;
        }
      }
    }
  }
  const cuts = new Int32Array(count);
  let n = 0;
  for (let r = 0; r <= high - low; r++) if (marks[r]) cuts[n++] = r + low;
  return cuts;
}

/** Counting sort of toggles by cut: those of cut c are `sorted[starts[c]]` up to `starts[c + 1]`. */
export function groupByCut(at: readonly number[], items: readonly number[], parts: number) {
  const starts = new Int32Array(parts + 1);
  for (let t = 0; t < at.length; t++) starts[at[t]! + 1]!++;
  for (let c = 0; c < parts; c++) starts[c + 1]! += starts[c]!;
  const next = starts.slice();
  const sorted = new Int32Array(at.length);
  for (let t = 0; t < at.length; t++) sorted[next[at[t]!]!++] = items[t]!;
  return { starts, sorted };
}
