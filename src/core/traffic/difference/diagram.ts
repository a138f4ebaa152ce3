/** The node that stands for "no difference". */
export const SAME = 0;

/** Values of one field, each set of ranks leading to a node. What no edge takes leads to SAME. */
export interface DiagramNode {
  readonly field: number;
  readonly edges: readonly { readonly ranks: Int32Array; readonly child: number }[];
}

/** One kind of difference: outcome numbers, and the changed rules they are owed to (-1: none). */
export interface Difference {
  readonly before: number;
  readonly after: number;
  readonly causeBefore: number;
  readonly causeAfter: number;
}

/** Positive numbers are nodes (`nodes[n]`), negative ones differences (`differences[-n - 1]`). */
export interface Diagram {
  readonly root: number;
  readonly nodes: readonly DiagramNode[];
  readonly differences: readonly Difference[];
  readonly work: number;
}

/** Edges in the making: for each child the ranks that lead to it. */
export class Edges {
  readonly children: number[] = [];
  readonly bounds: number[][] = [];
  private readonly places = new Map<number, number>();

  add(child: number, low: number, high: number): void {
    const place = this.places.get(child);
    if (place === undefined) {
      this.places.set(child, this.children.length);
      this.children.push(child);
      this.bounds.push([low, high]);
      return;
    }
    const bounds = this.bounds[place]!;
    if (bounds.at(-1) === low - 1) bounds[bounds.length - 1] = high;
    else bounds.push(low, high);
  }
}
