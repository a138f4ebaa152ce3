import { type FieldSet, isAddressSet } from './fields.ts';

/** Finds equal sets again by a number made of their bounds: far quicker than by their texts. */
export class SameSets {
  readonly #known = new Map<number, FieldSet[]>();

  /** Puts one object in the place of all equal sets that were shared so far. */
  share(sets: (FieldSet | undefined)[]): void {
    for (let f = 0; f < sets.length; f++) {
      const set = sets[f];
      if (set !== undefined) sets[f] = this.#sameAs(set);
    }
  }

  #sameAs(set: FieldSet): FieldSet {
    const hash = hashOf(set);
    const alike = this.#known.get(hash);
    if (alike === undefined) {
      this.#known.set(hash, [set]);
      return set;
    }
    for (const known of alike) if (areEqual(known, set)) return known;
    alike.push(set);
    return set;
  }
}

function hashOf(set: FieldSet): number {
  if (!isAddressSet(set)) return mixed(set.length, set);
  return set.ranges.reduce((hash, { low, high }) => mixed(mixed(hash, low), high), set.ranges.length);
}

function mixed(start: number, numbers: readonly number[]): number {
  let hash = start;
  for (let i = 0; i < numbers.length; i++)
    hash = Math.imul(hash ^ (numbers[i]! | 0), 0x9e3779b1) ^ (hash >>> 15);
  return hash;
}

function areEqual(a: FieldSet, b: FieldSet): boolean {
  if (!isAddressSet(a)) return !isAddressSet(b) && areSame(a, b);
  return (
    isAddressSet(b) &&
    a.ranges.length === b.ranges.length &&
    a.ranges.every(({ low, high }, i) => areSame(low, b.ranges[i]!.low) && areSame(high, b.ranges[i]!.high))
  );
}

function areSame(a: readonly number[], b: readonly number[]): boolean {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return false;
  return true;
}
