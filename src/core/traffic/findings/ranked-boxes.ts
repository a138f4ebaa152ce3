import { type Box, type FieldSet, isAddressSet } from '../difference/fields.ts';
import { rankSets, scaleOf, wholeSpan } from '../difference/scale.ts';

/** How the packets of one box lie to those of another; of equal boxes each is inside the other. */
export type Relation = 'apart' | 'inside' | 'around' | 'across';

/** The sets of one field in which some have several ranges. */
interface ManyRanges {
  /** By box, an index into the sets. */
  readonly setOf: Int32Array;
  /** Where the ranges of each set start, and where the last ends. */
  readonly starts: Int32Array;
  /** `low, high` ranks, ascending within a set. */
  readonly ranges: Int32Array;
  /** By box, a bit for each of 32 parts of the field in which it holds a value: boxes without a common bit are apart. */
  readonly parts: Int32Array;
}

/** More than any field of plain numbers holds, so that no set of them is all there is. */
const ABOVE = 2 ** 33;

/** Boxes over ranks, so that millions of pairs can be compared in plain numbers. */
export class RankedBoxes {
  readonly count: number;
  /** How many numbers `bounds` holds a box. */
  readonly width: number;
  /** The lowest and the highest rank of each box by field, for the fields that some box limits. */
  readonly bounds: Int32Array;
  private readonly many: readonly ManyRanges[];
  private readonly hasMany: Uint8Array;

  constructor(boxes: readonly Box[]) {
    const most = boxes.reduce((fields, box) => Math.max(fields, box.length), 0);
    const limited = Array.from({ length: most }, (_, f) => f).filter((f) =>
      boxes.some((box) => box[f] !== undefined),
    );
    this.count = boxes.length;
    this.width = 2 * limited.length;
    this.bounds = new Int32Array(boxes.length * this.width);
    this.hasMany = new Uint8Array(boxes.length);
    const many: ManyRanges[] = [];
    for (const [n, field] of limited.entries()) {
      const { setOf, starts, ranges, ranks } = rankField(boxes, field);
      for (const [i, set] of setOf.entries()) {
        const [start, end] = [starts[set]!, starts[set + 1]!];
        this.bounds[i * this.width + 2 * n] = ranges[start]!;
        this.bounds[i * this.width + 2 * n + 1] = ranges[end - 1]!;
        if (end - start > 2) this.hasMany[i] = 1;
      }
      if (ranges.length === 2 * (starts.length - 1)) continue;
      const parts = partsOf(starts, ranges, ranks);
      many.push({ setOf, starts, ranges, parts: setOf.map((set) => parts[set]!) });
    }
    this.many = many;
  }

  /** How box `a` lies to box `b`. */
  relation(a: number, b: number): Relation {
    const { bounds, width, hasMany, many } = this;
    // First what tells most apart that have bounds in common.
    for (let m = 0; m < many.length; m++) {
      const { parts } = many[m]!;
      if ((parts[a]! & parts[b]!) === 0) return 'apart';
    }
    let inside = true;
    let around = true;
    for (let f = 0, x = a * width, y = b * width; f < width; f += 2, x += 2, y += 2) {
      const lowA = bounds[x]!;
      const highA = bounds[x + 1]!;
      const lowB = bounds[y]!;
      const highB = bounds[y + 1]!;
      if (lowA > highB || highA < lowB) return 'apart';
      if (lowA < lowB || highA > highB) inside = false;
      if (lowA > lowB || highA < highB) around = false;
    }
    if (hasMany[a] === 1 || hasMany[b] === 1) {
      for (const field of many) {
        if (field.setOf[a] === field.setOf[b]) continue;
        if (!share(field, a, b)) return 'apart';
        inside &&= isWithin(field, a, b);
        around &&= isWithin(field, b, a);
      }
    }
    return inside ? 'inside' : around ? 'around' : 'across';
  }
}

/** The distinct sets of a field over ranks, flat. */
function rankField(boxes: readonly Box[], field: number) {
  const limits = new Set<FieldSet>();
  for (const box of boxes) if (box[field] !== undefined) limits.add(box[field]);
  const [first] = limits;
  const scale = scaleOf(limits, wholeSpan(isAddressSet(first!) ? Number.NaN : ABOVE));
  const { sets, of } = rankSets(boxes, field, scale);
  const every = Int32Array.of(0, scale.starts.length - 1);
  const starts = new Int32Array(sets.length + 1);
  for (const [n, ranks = every] of sets.entries()) starts[n + 1] = starts[n]! + ranks.length;
  const ranges = new Int32Array(starts[sets.length]!);
  for (const [n, ranks = every] of sets.entries()) ranges.set(ranks, starts[n]);
  return { setOf: of, starts, ranges, ranks: scale.starts.length };
}

/** Cuts the ranks into 32 parts with about as many bounds in each, and says of each set in which parts it has values. */
function partsOf(starts: Int32Array, ranges: Int32Array, ranks: number): Int32Array {
  const boundsAt = new Int32Array(ranks);
  for (const rank of ranges) boundsAt[rank]!++;
  const partOf = new Uint8Array(ranks);
  for (let rank = 0, sum = 0; rank < ranks; rank++) {
    partOf[rank] = Math.floor((32 * sum) / ranges.length);
    sum += boundsAt[rank]!;
  }
  const parts = new Int32Array(starts.length - 1);
  for (let set = 0; set < parts.length; set++) {
    for (let at = starts[set]!; at < starts[set + 1]!; at += 2) {
      for (let part = partOf[ranges[at]!]!; part <= partOf[ranges[at + 1]!]!; part++)
        parts[set]! |= 1 << part;
    }
  }
  return parts;
}

function share({ setOf, starts, ranges }: ManyRanges, a: number, b: number): boolean {
  const [setA, setB] = [setOf[a]!, setOf[b]!];
  const [endA, endB] = [starts[setA + 1]!, starts[setB + 1]!];
  for (let x = starts[setA]!, y = starts[setB]!; x < endA && y < endB; ) {
    if (ranges[x + 1]! < ranges[y]!) x += 2;
    else if (ranges[y + 1]! < ranges[x]!) y += 2;
    else return true;
  }
  return false;
}

/** Ranges that touch are one, so each range of the inner set must lie in one range of the outer. */
function isWithin({ setOf, starts, ranges, parts }: ManyRanges, inner: number, outer: number): boolean {
  if ((parts[inner]! & ~parts[outer]!) !== 0) return false;
  const [setInner, setOuter] = [setOf[inner]!, setOf[outer]!];
  const [endInner, endOuter] = [starts[setInner + 1]!, starts[setOuter + 1]!];
  for (let x = starts[setInner]!, y = starts[setOuter]!; x < endInner; x += 2) {
    while (y < endOuter && ranges[y + 1]! < ranges[x + 1]!) y += 2;
    if (y >= endOuter || ranges[y]! > ranges[x]!) return false;
  }
  return true;
}
