import { cutsOf, groupByCut } from './cuts.ts';
import { type Diagram, type DiagramNode, type Difference, Edges, SAME } from './diagram.ts';
import { decided, finalPlace, hasChanged, hasLimit, placeOf } from './item-lists.ts';
import { Pruner } from './prune.ts';
import type { Ranked, RankedSide } from './ranks.ts';
import { type Remainders, remaindersOf } from './remainders.ts';

/** A sweep that ran out of budget, with one place where it had seen a difference by then. */
export interface Stopped {
  readonly stopped: true;
  readonly work: number;
  /** A rank per field, undefined for any. */
  readonly witness: readonly (number | undefined)[] | undefined;
}

export interface SweepBudget {
  /** List entries looked at. */
  readonly work: number;
  readonly nodes: number;
  /** Stop at the first difference. */
  readonly first?: boolean;
}

/** Thrown as it stands: where a sweep stopped says nothing. */
const OUT_OF_BUDGET = new Error('out of budget');

/**
 * Runs both lists at once over an ordered diagram of the fields. At each node the items that can still match are
 * known; where no changed item is left, or both lists are the same, nothing can differ and the node is SAME.
 */
export function sweep(ranked: Ranked, order: readonly number[], budget: SweepBudget): Diagram | Stopped {
  return new Sweep(ranked, remaindersOf(ranked.numbers, order), budget).run();
}

interface Remembered {
  readonly key: Float64Array;
  readonly node: number;
}

class Sweep {
  private readonly nodes: DiagramNode[] = [{ field: -1, edges: [] }];
  private readonly differences: Difference[] = [];
  private readonly differenceIds = new Map<string, number>();
  private readonly nodeIds = new Map<string, number>();
  private readonly memory = new Map<number, Remembered[]>();
  private readonly pruners: readonly [Pruner, Pruner];
  private readonly listA: Int32Array;
  private readonly listB: Int32Array;
  private readonly cutIndex: Int32Array;
  private readonly labelsA: Int32Array;
  private readonly labelsB: Int32Array;
  private readonly labelCount: number;
  private readonly at: (number | undefined)[];
  private key = new Float64Array(1024);
  private witness: (number | undefined)[] | undefined;
  private work = 0;
  private readonly ranked: Ranked;
  private readonly rest: Remainders;
  private readonly budget: SweepBudget;

  constructor(ranked: Ranked, rest: Remainders, budget: SweepBudget) {
    this.ranked = ranked;
    this.rest = rest;
    this.budget = budget;
    const most = ranked.before.count + ranked.after.count + 1;
    this.pruners = [new Pruner(ranked.before, most), new Pruner(ranked.after, most)];
    this.listA = new Int32Array(ranked.before.count);
    this.listB = new Int32Array(ranked.after.count);
    this.cutIndex = new Int32Array(Math.max(...ranked.ranks, 1) + 2);
    const labels = new Map<string, number>();
    const labelsOf = ({ outcome, cause }: RankedSide) =>
      outcome.map((o, i) => {
        const text = o < 0 ? '' : `${o} ${cause[i]}`;
        const label = labels.get(text) ?? labels.size;
        labels.set(text, label);
        return label;
      });
    this.labelsA = labelsOf(ranked.before);
    this.labelsB = labelsOf(ranked.after);
    this.labelCount = labels.size + 1;
    this.at = new Array(ranked.fields).fill(undefined);
  }

  run(): Diagram | Stopped {
    const { ranked, rest, pruners } = this;
    const all = (side: RankedSide) => Int32Array.from({ length: side.count }, (_, i) => i);
    try {
      const a = pruners[0].prune(all(ranked.before), ranked.before.count, rest.before[0]!, rest.free[0]!);
      const b = pruners[1].prune(all(ranked.after), ranked.after.count, rest.after[0]!, rest.free[0]!);
      const root = this.visit(0, a, b);
      return { root, nodes: this.nodes, differences: this.differences, work: this.work };
    } catch (error) {
      if (error !== OUT_OF_BUDGET) throw error;
      return { stopped: true, work: this.work, witness: this.witness };
    }
  }

  private spend(work: number): void {
    this.work += work;
    if (this.work > this.budget.work || this.nodes.length > this.budget.nodes) throw OUT_OF_BUDGET;
  }

  private visit(from: number, a: Int32Array, b: Int32Array): number {
    const { ranked, rest } = this;
    this.spend(a.length + b.length);
    if (!hasChanged(ranked.before, a) && !hasChanged(ranked.after, b)) return SAME;
    const level = this.nextLevel(from, a, b);
    if (level === rest.order.length) return this.differ(a, b);
    if (this.sameLists(level, a, b)) return SAME;
    const keyLength = this.writeKey(level, a, b);
    const hash = hashOf(this.key, keyLength);
    let bucket = this.memory.get(hash);
    const known = bucket?.find((entry) => sameKey(entry.key, this.key, keyLength));
    if (known !== undefined) return known.node;
    const key = this.key.slice(0, keyLength);
    const node = this.split(level, a, b);
    bucket = this.memory.get(hash);
    if (bucket === undefined) this.memory.set(hash, [{ key, node }]);
    else bucket.push({ key, node });
    return node;
  }

  /** The next level whose field some item limits; the last level when both lists are decided. */
  private nextLevel(from: number, a: Int32Array, b: Int32Array): number {
    const { ranked, rest } = this;
    const end = rest.order.length;
    const free = rest.free[from]!;
    if (rest.before[from]![a[0]!] === free && rest.after[from]![b[0]!] === free) {
      if (
        decided(ranked.before, a, rest.before[from]!, free) &&
        decided(ranked.after, b, rest.after[from]!, free)
      ) {
        return end;
      }
    }
    for (let level = from; level < end; level++) {
      const field = rest.order[level]!;
      if (hasLimit(ranked.before.sets[field]!, a) || hasLimit(ranked.after.sets[field]!, b)) return level;
    }
    return end;
  }

  /** Both lists are decided: nothing that is left has a limit on the way to an outcome. */
  private differ(a: Int32Array, b: Int32Array): number {
    const { before, after } = this.ranked;
    const itemA = a[finalPlace(before, a)]!;
    const itemB = b[finalPlace(after, b)]!;
    const difference: Difference = {
      before: before.outcome[itemA]!,
      after: after.outcome[itemB]!,
      causeBefore: before.cause[itemA]!,
      causeAfter: after.cause[itemB]!,
    };
    if (difference.before === difference.after) return SAME;
    this.witness ??= [...this.at];
    if (this.budget.first) throw OUT_OF_BUDGET;
    const text = `${difference.before} ${difference.after} ${difference.causeBefore} ${difference.causeAfter}`;
    let id = this.differenceIds.get(text);
    if (id === undefined) {
      this.differences.push(difference);
      id = -this.differences.length;
      this.differenceIds.set(text, id);
    }
    return id;
  }

  /** Whether both lists hold the same remainders with the same outcomes, whichever rules they come from. */
  private sameLists(level: number, a: Int32Array, b: Int32Array): boolean {
    if (a.length !== b.length) return false;
    const { before, after } = this.ranked;
    const restA = this.rest.before[level]!;
    const restB = this.rest.after[level]!;
    for (let n = 0; n < a.length; n++) {
      const x = a[n]!;
      const y = b[n]!;
      if (restA[x] !== restB[y] || before.outcome[x] !== after.outcome[y]) return false;
      if (before.outcome[x]! < 0 && placeOf(a, before.target[x]!) !== placeOf(b, after.target[y]!))
        return false;
    }
    return true;
  }

  /** Writes what decides the node into `key`: remainders and labels of both lists, and where jumps land. */
  private writeKey(level: number, a: Int32Array, b: Int32Array): number {
    const most = 2 * (a.length + b.length) + 2;
    if (this.key.length < most) this.key = new Float64Array(2 * most);
    const { key, labelCount } = this;
    let n = 0;
    key[n++] = level;
    key[n++] = a.length;
    for (let s = 0; s < 2; s++) {
      const list = s === 0 ? a : b;
      const side = s === 0 ? this.ranked.before : this.ranked.after;
      const rest = s === 0 ? this.rest.before[level]! : this.rest.after[level]!;
      const labels = s === 0 ? this.labelsA : this.labelsB;
      for (let i = 0; i < list.length; i++) {
        const item = list[i]!;
        key[n++] = rest[item]! * labelCount + labels[item]!;
        if (side.outcome[item]! < 0) key[n++] = -1 - placeOf(list, side.target[item]!);
      }
    }
    return n;
  }

  /** Cuts the field at this level where an item begins or ends, as far as changed items reach, and visits each part. */
  private split(level: number, a: Int32Array, b: Int32Array): number {
    const { ranked, rest, cutIndex } = this;
    const field = rest.order[level]!;
    const setsA = ranked.before.sets[field]!;
    const setsB = ranked.after.sets[field]!;
    const ranks = ranked.ranks[field]!;
    const [low, high] = this.reach(field, a, b, ranks);
    const cuts = cutsOf(setsA, a, setsB, b, low, high);
    const parts = cuts.length;
    for (let c = 0; c < parts; c++) cutIndex[cuts[c]!] = c;
    const total = a.length + b.length;
    const active = new Int32Array((total + 31) >> 5);
    const changed = new Uint8Array(total);
    // Where each item's set begins or ends: one toggle each, gathered per cut.
    const toggleAt: number[] = [];
    const toggleItem: number[] = [];
    for (let n = 0; n < total; n++) {
      const inA = n < a.length;
      const item = inA ? a[n]! : b[n - a.length]!;
      changed[n] = inA ? ranked.before.changed[item]! : ranked.after.changed[item]!;
      const set = inA ? setsA[item] : setsB[item];
      if (set === undefined) {
        active[n >> 5]! |= 1 << (n & 31);
        continue;
      }
      for (let i = 0; i < set.length; i += 2) {
        const first = set[i]!;
        const last = set[i + 1]!;
        if (last < low || first > high) continue;
        toggleAt.push(first <= low ? 0 : cutIndex[first]!);
        toggleItem.push(n);
        if (last < high) {
          toggleAt.push(cutIndex[last + 1]!);
          toggleItem.push(n);
        }
      }
    }
    const { starts, sorted } = groupByCut(toggleAt, toggleItem, parts);
    this.spend(total + toggleAt.length);
    let changedActive = 0;
    for (let n = 0; n < total; n++) if (changed[n] && active[n >> 5]! & (1 << (n & 31))) changedActive++;
    const edges = new Edges();
    for (let c = 0; c < parts; c++) {
      for (let t = starts[c]!; t < starts[c + 1]!; t++) {
        const n = sorted[t]!;
        active[n >> 5]! ^= 1 << (n & 31);
        if (changed[n]) changedActive += active[n >> 5]! & (1 << (n & 31)) ? 1 : -1;
      }
      if (changedActive === 0) continue;
      this.at[field] = cuts[c]!;
      const child = this.visitActive(level + 1, a, b, active);
      if (child !== SAME) edges.add(child, cuts[c]!, c + 1 < parts ? cuts[c + 1]! - 1 : high);
    }
    this.at[field] = undefined;
    return this.nodeOf(field, edges, ranks);
  }

  private visitActive(level: number, a: Int32Array, b: Int32Array, active: Int32Array): number {
    const { listA, listB, rest } = this;
    let countA = 0;
    let countB = 0;
    for (let w = 0; w < active.length; w++) {
      let bits = active[w]!;
      while (bits !== 0) {
        const lowest = bits & -bits;
        bits ^= lowest;
        const n = (w << 5) + 31 - Math.clz32(lowest);
        if (n < a.length) listA[countA++] = a[n]!;
        else listB[countB++] = b[n - a.length]!;
      }
    }
    // To look through the bits is work too where items are many: a word of them costs less than an item.
    this.spend(countA + countB + (active.length >> 3));
    const prunedA = this.pruners[0].prune(listA, countA, rest.before[level]!, rest.free[level]!);
    const prunedB = this.pruners[1].prune(listB, countB, rest.after[level]!, rest.free[level]!);
    return this.visit(level, prunedA, prunedB);
  }

  /** The span of ranks that changed items reach. */
  private reach(field: number, a: Int32Array, b: Int32Array, ranks: number): [number, number] {
    let low = ranks;
    let high = -1;
    for (const [side, list] of [
      [this.ranked.before, a],
      [this.ranked.after, b],
    ] as const) {
      for (let n = 0; n < list.length; n++) {
        const item = list[n]!;
        if (!side.changed[item]) continue;
        const set = side.sets[field]![item];
        if (set === undefined) return [0, ranks - 1];
        if (set[0]! < low) low = set[0]!;
        if (set[set.length - 1]! > high) high = set[set.length - 1]!;
      }
    }
    return [low, high];
  }

  private nodeOf(field: number, edges: Edges, ranks: number): number {
    const { children, bounds } = edges;
    if (children.length === 0) return SAME;
    const only = bounds[0]!;
    if (children.length === 1 && only.length === 2 && only[0] === 0 && only[1] === ranks - 1)
      return children[0]!;
    const text = `${field}:${children.map((child, i) => `${child}=${bounds[i]!.join()}`).join(';')}`;
    let id = this.nodeIds.get(text);
    if (id === undefined) {
      id = this.nodes.length;
      this.nodes.push({
        field,
        edges: children.map((child, i) => ({ child, ranks: Int32Array.from(bounds[i]!) })),
      });
      this.nodeIds.set(text, id);
    }
    return id;
  }
}

function hashOf(key: Float64Array, length: number): number {
  let hash = length;
  for (let i = 0; i < length; i++) hash = (Math.imul(hash, 0x01000193) ^ key[i]!) | 0;
  return hash;
}

function sameKey(known: Float64Array, key: Float64Array, length: number): boolean {
  if (known.length !== length) return false;
  for (let i = 0; i < length; i++) if (known[i] !== key[i]) return false;
  return true;
}
