import type { SetNumbers } from './ranks.ts';

/**
 * What is left of each item once the fields before a level are fixed. Two items with the same remainder number
 * match the same packets from there on, so equal lists of remainders need to be compared only once.
 */
export interface Remainders {
  /** Fields in the order in which they are fixed; only those that some item limits. */
  readonly order: readonly number[];
  /** By level, then item. Level `order.length` is behind the last field. */
  readonly before: readonly Int32Array[];
  readonly after: readonly Int32Array[];
  /** By level: the remainder of an item that matches everything from there on. */
  readonly free: readonly number[];
}

/** Fields that at least one item limits. */
export function limitedFields(sets: SetNumbers): number[] {
  return sets.flatMap(([before, after], f) =>
    before.some((n) => n > 0) || after.some((n) => n > 0) ? [f] : [],
  );
}

export function remaindersOf(sets: SetNumbers, order: readonly number[]): Remainders {
  const count = (side: 0 | 1) => sets[0]?.[side].length ?? 0;
  const before: Int32Array[] = [new Int32Array(count(0))];
  const after: Int32Array[] = [new Int32Array(count(1))];
  const free: number[] = [0];
  for (let level = order.length - 1; level >= 0; level--) {
    const [setsBefore, setsAfter] = sets[order[level]!]!;
    const numbers = new Map<number, number>();
    const numberOf = (set: number, rest: number): number => {
      const pair = set * 0x200_0000 + rest;
      let number = numbers.get(pair);
      if (number === undefined) {
        number = numbers.size;
        numbers.set(pair, number);
      }
      return number;
    };
    free.unshift(numberOf(0, free[0]!));
    const restBefore = before[0]!;
    const restAfter = after[0]!;
    before.unshift(setsBefore.map((set, i) => numberOf(set, restBefore[i]!)));
    after.unshift(setsAfter.map((set, i) => numberOf(set, restAfter[i]!)));
  }
  return { order, before, after, free };
}
