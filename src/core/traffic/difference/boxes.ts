import { groupBy } from '../group-by.ts';
import { type Diagram, SAME } from './diagram.ts';

/** A set of packets of one kind of difference, as ranks per field; undefined means any. */
export interface RankBox {
  /** Index into the diagram's differences. */
  readonly difference: number;
  readonly ranks: readonly (Int32Array | undefined)[];
}

/** How many boxes a diagram falls into: the number of its ways from the root to a difference. */
export function countBoxes(diagram: Diagram): number {
  const counts = new Map<number, number>();
  const count = (node: number): number => {
    if (node === SAME) return 0;
    if (node < 0) return 1;
    let sum = counts.get(node);
    if (sum === undefined) {
      sum = diagram.nodes[node]!.edges.reduce((total, edge) => total + count(edge.child), 0);
      counts.set(node, sum);
    }
    return sum;
  };
  return count(diagram.root);
}

/** The boxes of a diagram: disjoint, and complete unless a kind of difference has more than `most`, then the first of it. */
export function boxesOf(diagram: Diagram, fields: number, most: number): RankBox[] {
  const each = Math.max(1, most);
  const { differences } = diagram;
  // One walk for all kinds, unless a kind can have more boxes than are wanted: then only the walk for that kind ends early.
  if (countBoxes(diagram) <= differences.length * each) return allBoxes(diagram, fields, each);
  return differences.flatMap((_, difference) => boxesOfKind(diagram, difference, fields, each));
}

function allBoxes(diagram: Diagram, fields: number, most: number): RankBox[] {
  const kinds: RankBox[][] = diagram.differences.map(() => []);
  const ranks: (Int32Array | undefined)[] = new Array(fields).fill(undefined);
  const walk = (node: number): void => {
    if (node === SAME) return;
    if (node < 0) {
      const difference = -node - 1;
      const boxes = kinds[difference]!;
      if (boxes.length < most) boxes.push({ difference, ranks: [...ranks] });
      return;
    }
    const { field, edges } = diagram.nodes[node]!;
    for (const edge of edges) {
      ranks[field] = edge.ranks;
      walk(edge.child);
    }
    ranks[field] = undefined;
  };
  walk(diagram.root);
  return kinds.flat();
}

function boxesOfKind(diagram: Diagram, difference: number, fields: number, most: number): RankBox[] {
  const boxes: RankBox[] = [];
  const ranks: (Int32Array | undefined)[] = new Array(fields).fill(undefined);
  const barren = new Set<number>();
  const walk = (node: number): void => {
    if (node === SAME || boxes.length >= most || barren.has(node)) return;
    if (node < 0) {
      if (-node - 1 === difference) boxes.push({ difference, ranks: [...ranks] });
      return;
    }
    const before = boxes.length;
    const { field, edges } = diagram.nodes[node]!;
    for (const edge of edges) {
      ranks[field] = edge.ranks;
      walk(edge.child);
    }
    ranks[field] = undefined;
    if (boxes.length === before) barren.add(node);
  };
  walk(diagram.root);
  return boxes;
}

/** Unites boxes that differ in one field only, until none are left. The packets stay the same. */
export function mergeBoxes(boxes: readonly RankBox[], ranks: readonly number[]): RankBox[] {
  let merged = [...boxes];
  for (let before = -1; before !== merged.length; ) {
    before = merged.length;
    for (let field = 0; field < ranks.length && merged.length > 1; field++) {
      merged = mergeField(merged, field, ranks[field]!);
    }
  }
  return merged;
}

function mergeField(boxes: readonly RankBox[], field: number, size: number): RankBox[] {
  const groups = groupBy(
    boxes,
    ({ difference, ranks }) =>
      `${difference};${ranks.map((set, f) => (f === field ? '' : (set?.join() ?? '*'))).join(';')}`,
  );
  return [...groups.values()].map((group) => {
    const [first] = group;
    if (group.length === 1) return first!;
    const united = [...first!.ranks];
    united[field] = uniteRanks(
      group.map((box) => box.ranks[field]),
      size,
    );
    return { difference: first!.difference, ranks: united };
  });
}

function uniteRanks(sets: readonly (Int32Array | undefined)[], ranks: number): Int32Array | undefined {
  const inside = new Uint8Array(ranks);
  for (const set of sets) {
    if (set === undefined) return undefined;
    for (let i = 0; i < set.length; i += 2) inside.fill(1, set[i]!, set[i + 1]! + 1);
  }
  const bounds: number[] = [];
  for (let r = 0; r < ranks; r++) {
    if (!inside[r]) continue;
    if (bounds.at(-1) === r - 1) bounds[bounds.length - 1] = r;
    else bounds.push(r, r);
  }
  return bounds.length === 2 && bounds[0] === 0 && bounds[1] === ranks - 1
    ? undefined
    : Int32Array.from(bounds);
}
