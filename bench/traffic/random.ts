/** A small seeded generator (mulberry32, public domain by its author), so that every run measures the same policies. */
export interface Random {
  /** 0 <= x < 1. */
  next(): number;
  /** 0 <= n < below. */
  below(below: number): number;
  pick<T>(values: readonly T[]): T;
  chance(probability: number): boolean;
}

export function seeded(seed: number): Random {
  let state = seed >>> 0;
  const next = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
  const below = (n: number) => Math.floor(next() * n);
  return { next, below, pick: (values) => values[below(values.length)]!, chance: (p) => next() < p };
}
