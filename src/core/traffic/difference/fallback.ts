import { DecisionDiagram, TooManyNodes } from './bdd.ts';
import { ordersOf } from './orders.ts';
import type { Ranked, RankedSide } from './ranks.ts';

/** Equal (proved), different (a rank per field as witness; undefined for any), or not decided. */
export type YesOrNo =
  | { readonly answer: 'equal' }
  | { readonly answer: 'different'; readonly witness: readonly (number | undefined)[] }
  | { readonly answer: 'undecided' };

interface Layout {
  /** Fields in the order of the diagram. */
  readonly order: readonly number[];
  /** By field: the first variable and how many bits its ranks take. */
  readonly first: readonly number[];
  readonly bits: readonly number[];
  readonly ranks: readonly number[];
}

/**
 * Whether two sides treat any packet differently, by a binary decision diagram over the bits of ranks. It says nothing
 * about which packets; it is for comparisons whose rows would be too many.
 */
export function equalByDiagram(ranked: Ranked, nodes: number): YesOrNo {
  const layout = layoutOf(ranked);
  // Terminals 0 and 1 are false and true of the matches; outcomes follow.
  const diagram = new DecisionDiagram(2 + ranked.outcomes.length, nodes);
  try {
    const before = sideRoot(diagram, ranked.before, layout);
    const after = sideRoot(diagram, ranked.after, layout);
    if (before === after) return { answer: 'equal' };
    return { answer: 'different', witness: witnessOf(diagram, before, after, layout, ranked.fields) };
  } catch (error) {
    if (error instanceof TooManyNodes) return { answer: 'undecided' };
    throw error;
  }
}

function layoutOf({ fields, ranks }: Ranked): Layout {
  const order = ordersOf(Array.from({ length: fields }, (_, f) => f))[0]!;
  const first: number[] = new Array(fields).fill(0);
  const bits = ranks.map((count) => Math.ceil(Math.log2(count)));
  let variable = 0;
  for (const field of order) {
    first[field] = variable;
    variable += bits[field]!;
  }
  return { order, first, bits, ranks };
}

/** What each packet meets from the first item on, built from the last item up. */
function sideRoot(diagram: DecisionDiagram, side: RankedSide, layout: Layout): number {
  const from: number[] = new Array(side.count + 1).fill(0);
  for (let item = side.count - 1; item >= 0; item--) {
    const outcome = side.outcome[item]!;
    const then = outcome >= 0 ? 2 + outcome : from[side.target[item]!]!;
    from[item] = diagram.choose(matchNode(diagram, side, item, layout), then, from[item + 1]!);
  }
  return from[0]!;
}

function matchNode(diagram: DecisionDiagram, side: RankedSide, item: number, layout: Layout): number {
  let node = 1;
  for (let n = layout.order.length - 1; n >= 0; n--) {
    const field = layout.order[n]!;
    const set = side.sets[field]![item];
    if (set !== undefined) node = setNode(diagram, set, field, node, layout);
  }
  return node;
}

/** `then` for ranks in the set. Bit patterns beyond the last rank count as the last rank. */
function setNode(
  diagram: DecisionDiagram,
  set: Int32Array,
  field: number,
  then: number,
  layout: Layout,
): number {
  const bits = layout.bits[field]!;
  const last = layout.ranks[field]! - 1;
  const covers = (low: number, high: number): boolean | undefined => {
    let touched = false;
    for (let i = 0; i < set.length; i += 2) {
      const to = set[i + 1] === last ? 2 ** bits - 1 : set[i + 1]!;
      if (set[i]! <= low && high <= to) return true;
      if (set[i]! <= high && low <= to) touched = true;
    }
    return touched ? undefined : false;
  };
  const build = (bit: number, low: number): number => {
    const covered = covers(low, low + 2 ** (bits - bit) - 1);
    if (covered !== undefined) return covered ? then : 0;
    const half = 2 ** (bits - bit - 1);
    return diagram.make(layout.first[field]! + bit, build(bit + 1, low), build(bit + 1, low + half));
  };
  return build(0, 0);
}

function witnessOf(
  diagram: DecisionDiagram,
  before: number,
  after: number,
  layout: Layout,
  fields: number,
): (number | undefined)[] {
  const asked = new Map<number, boolean>();
  const dead = new Set<string>();
  const find = (x: number, y: number): boolean => {
    if (x === y) return false;
    if (x < diagram.terminals && y < diagram.terminals) return true;
    const pair = `${x} ${y}`;
    if (dead.has(pair)) return false;
    const top = Math.min(diagram.variableOf(x), diagram.variableOf(y));
    for (const bit of [false, true]) {
      const step = (node: number) =>
        diagram.variableOf(node) !== top ? node : bit ? diagram.highOf(node) : diagram.lowOf(node);
      asked.set(top, bit);
      if (find(step(x), step(y))) return true;
      asked.delete(top);
    }
    dead.add(pair);
    return false;
  };
  find(before, after);
  return Array.from({ length: fields }, (_, field) => {
    const bits = layout.bits[field]!;
    const first = layout.first[field]!;
    let rank = 0;
    let any = true;
    for (let bit = 0; bit < bits; bit++) {
      const value = asked.get(first + bit);
      if (value !== undefined) any = false;
      rank = 2 * rank + (value === true ? 1 : 0);
    }
    return any ? undefined : Math.min(rank, layout.ranks[field]! - 1);
  });
}
