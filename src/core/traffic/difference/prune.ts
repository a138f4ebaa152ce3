import type { RankedSide } from './ranks.ts';

/**
 * Drops the items of a list that no packet can reach: behind an item that matches everything, jumped over, or
 * behind an item with the same remainder. Jumps that everything takes are left out where nothing is lost.
 */
export class Pruner {
  private readonly side: RankedSide;
  private readonly result: Int32Array;
  /** By remainder: the round in which it was last seen, and by which item. */
  private readonly seenRound: Int32Array;
  private readonly seenBy: Int32Array;
  private round = 0;
  /** Jump targets ahead, ascending. */
  private readonly ahead: number[] = [];

  constructor(side: RankedSide, remainders: number) {
    this.side = side;
    this.result = new Int32Array(side.count);
    this.seenRound = new Int32Array(remainders);
    this.seenBy = new Int32Array(remainders);
  }

  /** `rest` and `free` are the remainders of the level behind the fields that are fixed. */
  prune(list: Int32Array, length: number, rest: Int32Array, free: number): Int32Array {
    const { outcome, target } = this.side;
    const { result, ahead, seenRound, seenBy } = this;
    const round = ++this.round;
    ahead.length = 0;
    let kept = 0;
    let live = true;
    for (let n = 0; n < length; n++) {
      const item = list[n]!;
      if (ahead.length > 0) {
        while (ahead.length > 0 && ahead[0]! <= item) {
          ahead.shift();
          live = true;
        }
      }
      if (!live) {
        if (ahead.length === 0) break;
        continue;
      }
      const remainder = rest[item]!;
      const final = outcome[item]! >= 0;
      if (seenRound[remainder] === round) {
        const by = seenBy[remainder]!;
        if (outcome[by]! >= 0 || target[by]! > item) continue;
      } else if (ahead.length === 0) {
        // Every packet that gets further than this item was asked by it.
        seenRound[remainder] = round;
        seenBy[remainder] = item;
      }
      if (remainder !== free) {
        result[kept++] = item;
        if (!final) this.jumpAhead(target[item]!);
      } else if (final) {
        result[kept++] = item;
        live = false;
        if (ahead.length === 0) break;
      } else {
        const to = target[item]!;
        // A jump that everything takes is not needed where nothing else can land before its target; but a changed
        // one is a reason to go on looking.
        if (this.side.changed[item] || (ahead.length > 0 && ahead[0]! < to)) result[kept++] = item;
        this.jumpAhead(to);
        live = false;
      }
    }
    return result.slice(0, kept);
  }

  private jumpAhead(to: number): void {
    const { ahead } = this;
    let at = ahead.length;
    while (at > 0 && ahead[at - 1]! > to) at--;
    if (ahead[at - 1] !== to) ahead.splice(at, 0, to);
  }
}
