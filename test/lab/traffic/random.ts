/** A small seeded generator (mulberry32), so that every run of a check sends the same packets. */
export class Random {
  private state: number;

  constructor(seed: number) {
    this.state = seed >>> 0;
  }

  /** A number from 0 up to 1. */
  next(): number {
    this.state = (this.state + 0x6d2b79f5) >>> 0;
    let t = this.state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  }

  /** A whole number below `bound`. */
  below(bound: number): number {
    return Math.floor(this.next() * bound);
  }

  chance(probability: number): boolean {
    return this.next() < probability;
  }

  pick<T>(list: readonly T[]): T {
    return list[this.below(list.length)]!;
  }

  /** Between `least` and `most` different entries. */
  some<T>(list: readonly T[], least: number, most: number): T[] {
    const rest = [...list];
    const count = Math.min(rest.length, least + this.below(most - least + 1));
    return Array.from({ length: count }, () => rest.splice(this.below(rest.length), 1)[0]!);
  }
}
