import { countUpTo } from '../difference/count-up-to.ts';
import type { RankedBoxes } from './ranked-boxes.ts';

/** Into how many blocks the rules fall at most, by each bound. More of them miss less, but hold more memory. */
const MOST_BLOCKS = 128;

/**
 * Finds, for each rule of a list, the earlier ones whose bounds may meet its own. Bit sets, one bit per rule, hold the
 * rules up to the end of each block, in the order of one bound; the bounds of a rule choose one of them each, and what
 * is in all that were chosen is looked at (after T. V. Lakshman and D. Stiliadis, "High-speed policy-based packet
 * forwarding using efficient multi-dimensional range matching", SIGCOMM 1998).
 */
export class BoundsIndex {
  private readonly words: number;
  private readonly tables: readonly Int32Array[];
  /** By table, then rule: where the bit set starts that holds all rules whose bound may meet the rule's. */
  private readonly chosen: readonly Int32Array[];
  private readonly found: Int32Array;

  constructor({ bounds, width, count }: Pick<RankedBoxes, 'bounds' | 'width' | 'count'>) {
    this.words = (count + 31) >> 5;
    this.found = new Int32Array(count);
    const tables: Int32Array[] = [];
    const chosen: Int32Array[] = [];
    for (let low = 0; low < width; low += 2) {
      const lows = Int32Array.from({ length: count }, (_, i) => bounds[i * width + low]!);
      const highs = Int32Array.from({ length: count }, (_, i) => bounds[i * width + low + 1]!);
      // Turned round, what begins at or before an end is what ends at or behind a beginning.
      for (const [own, others] of [
        [highs, lows],
        [lows.map((value) => -value), highs.map((value) => -value)],
      ] as const) {
        const { table, firsts } = this.blocksOf(others);
        tables.push(table);
        // So many blocks as begin at or before a value hold all that is not above it.
        chosen.push(Int32Array.from(own, (value) => countUpTo(firsts, value) * this.words));
      }
    }
    this.tables = tables;
    this.chosen = chosen;
  }

  /** A bit per rule. */
  bitsOf(rules: Iterable<number>): Int32Array {
    const bits = new Int32Array(this.words);
    for (const i of rules) bits[i >> 5]! |= 1 << (i & 31);
    return bits;
  }

  /** Rules of `among` before `rule` whose bounds may meet its own, ascending; all that do are there. Good until the next call. */
  near(rule: number, among: Int32Array): Int32Array {
    const { tables, found } = this;
    const starts = this.chosen.map((list) => list[rule]!);
    const last = rule >> 5;
    let count = 0;
    for (let w = 0; w <= last; w++) {
      let bits = among[w]!;
      if (w === last) bits &= (1 << (rule & 31)) - 1;
      for (let t = 0; bits !== 0 && t < tables.length; t++) bits &= tables[t]![starts[t]! + w]!;
      while (bits !== 0) {
        const lowest = bits & -bits;
        bits ^= lowest;
        found[count++] = (w << 5) + 31 - Math.clz32(lowest);
      }
    }
    return found.subarray(0, count);
  }

  /** Bit sets of the rules with the lowest values, each a block longer than the one before; and where each block begins. */
  private blocksOf(values: Int32Array): { table: Int32Array; firsts: Int32Array } {
    const { words } = this;
    const count = values.length;
    // Value and rule in one number: so they are sorted without calling a comparison.
    const order = Float64Array.from(values, (value, i) => value * count + i).sort();
    const size = Math.max(1, Math.ceil(count / MOST_BLOCKS));
    const blocks = Math.ceil(count / size);
    const table = new Int32Array((blocks + 1) * words);
    const firsts = new Int32Array(blocks);
    for (let block = 0; block < blocks; block++) {
      const start = (block + 1) * words;
      table.copyWithin(start, start - words, start);
      firsts[block] = Math.floor(order[block * size]! / count);
      for (let n = block * size; n < Math.min(count, (block + 1) * size); n++) {
        const i = order[n]! - Math.floor(order[n]! / count) * count;
        table[start + (i >> 5)]! |= 1 << (i & 31);
      }
    }
    return { table, firsts };
  }
}
