import { Field, isAddressSet } from './fields.ts';
import type { Item } from './program.ts';

/** Fields that one value often fills: ports, protocols and single addresses of IPv4. */
const FIELDS = [Field.service, Field.source, Field.destination, Field.sourcePort] as const;

/** With fewer items there is nothing to gain. */
const WORTH_SORTING = 64;

const sorted = new WeakMap<readonly Item[], Candidates>();

/** The places of items that can hold a packet with these values, in order: all but some that surely cannot. */
export function candidatesAmong(items: readonly Item[], values: readonly unknown[]): readonly number[] {
  let known = sorted.get(items);
  if (known === undefined) {
    known = new Candidates(items);
    sorted.set(items, known);
  }
  return known.of(values);
}

class Candidates {
  readonly #field: number;
  readonly #byValue: ReadonlyMap<number, readonly number[]>;
  /** The places of items that more than one value of the field fits. */
  readonly #others: readonly number[];

  constructor(items: readonly Item[]) {
    const counts = FIELDS.map((field) => items.filter(({ box }) => valueIn(box, field) !== undefined).length);
    const most = Math.max(...counts);
    this.#field = FIELDS[counts.indexOf(most)]!;
    const byValue = new Map<number, number[]>();
    const others: number[] = [];
    const worth = items.length >= WORTH_SORTING;
    for (let i = 0; i < items.length; i++) {
      const value = worth ? valueIn(items[i]!.box, this.#field) : undefined;
      if (value === undefined) others.push(i);
      else if (byValue.has(value)) byValue.get(value)!.push(i);
      else byValue.set(value, [i]);
    }
    this.#byValue = byValue;
    this.#others = others;
  }

  of(values: readonly unknown[]): readonly number[] {
    const exact = this.#byValue.get(values[this.#field] as number);
    return exact === undefined ? this.#others : [...exact, ...this.#others].sort((a, b) => a - b);
  }
}

/** The one value that a box has in a field; undefined when there are more. */
function valueIn(box: Item['box'], field: number): number | undefined {
  const set = box[field];
  return set !== undefined && !isAddressSet(set) && set.length === 2 && set[0] === set[1]
    ? set[0]
    : undefined;
}
