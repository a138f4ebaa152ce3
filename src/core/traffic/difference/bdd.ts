/** A binary decision diagram with many terminals, after R. E. Bryant, "Graph-based algorithms for Boolean function
 * manipulation", IEEE Transactions on Computers 35 (1986). Nodes are numbers; terminals are those below `terminals`. */
export class DecisionDiagram {
  readonly terminals: number;
  private readonly most: number;
  private count: number;
  private variable: Int32Array;
  private low: Int32Array;
  private high: Int32Array;
  private table: Int32Array;
  private cache: Int32Array;
  private cacheMask: number;

  /** `most` nodes at most; past them `TooManyNodes` is thrown. */
  constructor(terminals: number, most: number) {
    this.terminals = terminals;
    this.most = most;
    this.count = terminals;
    const size = 2 ** Math.ceil(Math.log2(Math.max(1024, 2 * terminals)));
    this.variable = new Int32Array(size).fill(0x7fff_ffff);
    this.low = new Int32Array(size);
    this.high = new Int32Array(size);
    this.table = new Int32Array(4 * size).fill(-1);
    this.cacheMask = 0xfff;
    this.cache = new Int32Array(4 * (this.cacheMask + 1)).fill(-1);
  }

  variableOf(node: number): number {
    return this.variable[node]!;
  }

  lowOf(node: number): number {
    return this.low[node]!;
  }

  highOf(node: number): number {
    return this.high[node]!;
  }

  /** The node that asks `variable`, made once. */
  make(variable: number, low: number, high: number): number {
    if (low === high) return low;
    const mask = this.table.length - 1;
    let at = hash(variable, low, high) & mask;
    for (let node = this.table[at]!; node >= 0; node = this.table[at]!) {
      if (this.variable[node] === variable && this.low[node] === low && this.high[node] === high) return node;
      at = (at + 1) & mask;
    }
    if (this.count >= this.most) throw new TooManyNodes();
    const node = this.count++;
    if (node === this.variable.length) this.grow();
    this.variable[node] = variable;
    this.low[node] = low;
    this.high[node] = high;
    this.insert(node);
    return node;
  }

  /** `then` where `condition` (terminals 0 and 1 only) is 1, `otherwise` where it is 0. */
  choose(condition: number, then: number, otherwise: number): number {
    if (condition === 1) return then;
    if (condition === 0 || then === otherwise) return otherwise;
    const slot = 4 * (hash(condition, then, otherwise) & this.cacheMask);
    let { cache } = this;
    if (cache[slot] === condition && cache[slot + 1] === then && cache[slot + 2] === otherwise)
      return cache[slot + 3]!;
    const { variable } = this;
    const top = Math.min(variable[condition]!, variable[then]!, variable[otherwise]!);
    const low = (node: number) => (variable[node] === top ? this.low[node]! : node);
    const high = (node: number) => (variable[node] === top ? this.high[node]! : node);
    const lowNode = this.choose(low(condition), low(then), low(otherwise));
    const highNode = this.choose(high(condition), high(then), high(otherwise));
    const node = this.make(top, lowNode, highNode);
    // The cache may have grown meanwhile; a lost entry only costs time.
    if (cache !== this.cache) cache = this.cache;
    if (slot >= cache.length) return node;
    cache[slot] = condition;
    cache[slot + 1] = then;
    cache[slot + 2] = otherwise;
    cache[slot + 3] = node;
    return node;
  }

  private insert(node: number): void {
    const mask = this.table.length - 1;
    let at = hash(this.variable[node]!, this.low[node]!, this.high[node]!) & mask;
    while (this.table[at]! >= 0) at = (at + 1) & mask;
    this.table[at] = node;
  }

  private grow(): void {
    const larger = (old: Int32Array) => {
      const copy = new Int32Array(2 * old.length);
      copy.set(old);
      return copy;
    };
    this.variable = larger(this.variable);
    this.low = larger(this.low);
    this.high = larger(this.high);
    if (this.cacheMask < 0xf_ffff) {
      this.cacheMask = 2 * this.cacheMask + 1;
      this.cache = new Int32Array(4 * (this.cacheMask + 1)).fill(-1);
    }
    let size = 1024;
    while (size < 4 * this.variable.length) size *= 2;
    this.table = new Int32Array(size).fill(-1);
    for (let node = this.terminals; node < this.count - 1; node++) this.insert(node);
  }
}

export class TooManyNodes extends Error {}

function hash(a: number, b: number, c: number): number {
  let h = Math.imul(a, 0x9e37_79b1) ^ Math.imul(b, 0x85eb_ca6b) ^ Math.imul(c, 0xc2b2_ae35);
  h ^= h >>> 15;
  return Math.imul(h, 0x2c1b_3c6d) ^ (h >>> 13);
}
