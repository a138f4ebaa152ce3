import { sha256 } from './digest.ts';

/**
 * The pieces of a pack stand in one order in which every file of every capture finds its own pieces one after the
 * other, with pieces of others between them. So whoever prints the listed pieces in the order of the tar (as `tar -xO`
 * does) prints the file.
 */
export class Piece {
  /** Path in the tar: `pieces/N`. */
  readonly name: string;
  readonly bytes: Uint8Array;
  #digest: string | undefined;

  constructor(name: string, bytes: Uint8Array, digest?: string) {
    this.name = name;
    this.bytes = bytes;
    this.#digest = digest;
  }

  /** SHA-256 of the bytes, made when first asked for: opening a pack needs none. */
  get digest(): string {
    this.#digest ??= sha256(this.bytes);
    return this.#digest;
  }
}

/**
 * Of places that are to be visited in this order (null: none), the longest choice that only goes forward. The answer
 * says of each whether it is chosen. Patience sorting: time n log n.
 */
export function forward(places: readonly (number | null)[]): boolean[] {
  /** Of the choices of each length, the index with which the one that ends earliest ends. */
  const ends: number[] = [];
  const before = new Array<number>(places.length).fill(-1);
  for (const [i, place] of places.entries()) {
    if (place === null) continue;
    let low = 0;
    for (let high = ends.length; low < high; ) {
      const middle = (low + high) >> 1;
      if (places[ends[middle]!]! < place) low = middle + 1;
      else high = middle;
    }
    before[i] = ends[low - 1] ?? -1;
    ends[low] = i;
  }
  const chosen = new Array<boolean>(places.length).fill(false);
  for (let i = ends.at(-1) ?? -1; i !== -1; i = before[i]!) chosen[i] = true;
  return chosen;
}

/**
 * Weaves a file into the order: pieces that stand there in its own order are used, the others put in, each behind the
 * one that precedes it. A piece that stands only at a wrong place is put in once more, which compression makes cheap.
 * Returns the new order, and the file's pieces in it. `make` makes a piece that is put in.
 */
export function weave(
  order: readonly Piece[],
  digests: readonly string[],
  make: (index: number) => Piece,
): { readonly order: Piece[]; readonly pieces: Piece[] } {
  const standing = new Map<string, number[]>();
  for (const [place, { digest }] of order.entries()) {
    const places = standing.get(digest);
    if (places === undefined) standing.set(digest, [place]);
    else places.push(place);
  }
  /** The third piece of its kind in the file goes with the third in the order. */
  const met = new Map<string, number>();
  const places = digests.map((digest) => {
    const times = met.get(digest) ?? 0;
    met.set(digest, times + 1);
    return standing.get(digest)?.[times] ?? null;
  });
  const used = forward(places);
  const behind = new Map<number, Piece[]>();
  let last = Math.min(order.length, places.find((_, i) => used[i]) ?? order.length) - 1;
  const pieces = places.map((place, i) => {
    if (used[i]) {
      last = place!;
      return order[last]!;
    }
    const piece = make(i);
    const there = behind.get(last);
    if (there === undefined) behind.set(last, [piece]);
    else there.push(piece);
    return piece;
  });
  const woven = [...(behind.get(-1) ?? [])];
  for (const [place, piece] of order.entries()) woven.push(piece, ...(behind.get(place) ?? []));
  return { order: woven, pieces };
}
