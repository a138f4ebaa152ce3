import type { NumberSet } from '#core/address';
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
    const bounds = isAddressSet(set) ? wordsOf(set) : set;
    let hash = bounds.length;
    for (let i = 0; i < bounds.length; i++)
      hash = Math.imul(hash ^ (bounds[i]! | 0), 0x9e3779b1) ^ (hash >>> 15);
    const alike = this.#known.get(hash);
    if (alike === undefined) {
      this.#known.set(hash, [set]);
      return set;
    }
    for (const known of alike)
      if (
        isAddressSet(known) === isAddressSet(set) &&
        areEqual(isAddressSet(known) ? wordsOf(known) : known, bounds)
      )
        return known;
    alike.push(set);
    return set;
  }
}

function areEqual(a: ArrayLike<number>, b: ArrayLike<number>): boolean {
  if (a.length !== b.length) return false;
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return false;
  return true;
}

function wordsOf({ ranges }: Exclude<FieldSet, NumberSet>): readonly number[] {
  const words: number[] = [];
  for (const { low, high } of ranges) words.push(...low, ...high);
  return words;
}
