import {
  type Box,
  boxesOverlap,
  Field,
  type FieldSet,
  isAddressSet,
  isWithin,
} from '../difference/fields.ts';
import { numericHull } from '../difference/load.ts';
import type { Rule } from '../policy.ts';
import { NAMED } from './finding.ts';

/** Earlier rules of the opposite verdict that share packets with one rule. Never a list of pairs: there may be millions. */
export interface OppositeRules {
  readonly rule: Rule;
  /** Earlier rules wholly inside this one: the first of them, and how many. */
  readonly inside: readonly Rule[];
  readonly insideCount: number;
  /** Earlier rules that overlap it, neither containing the other. */
  readonly across: readonly Rule[];
  readonly acrossCount: number;
}

/** A rule with a verdict and the packets it matches when nothing stands before it. */
export interface VerdictBox {
  readonly rule: Rule;
  readonly box: Box;
  readonly passes: boolean;
}

/** Fields compared in plain numbers first, two bounds each. */
const FIELDS = [
  Field.destination,
  Field.source,
  Field.service,
  Field.protocol,
  Field.inInterface,
  Field.outInterface,
  Field.sourcePort,
  Field.state,
] as const;
const WIDTH = 2 * FIELDS.length;
/** How many earlier rules are kept at most where two sides are compared. */
const COMPARED = 64;
const EMPTY = new Int32Array(0);

/** Where a rule of a changed policy comes from; `aside` is compared with none. */
export type Side = 'came' | 'there' | 'aside';

/**
 * Compares the rules of one stage pairwise, as they stand: chains they are jumped to from do not narrow them. With
 * `sideOf`, only one that came with one that was there.
 */
export function oppositeRules(boxes: readonly VerdictBox[], sideOf?: (rule: Rule) => Side): OppositeRules[] {
  const most = sideOf === undefined ? NAMED : COMPARED;
  const bounds = new Float64Array(boxes.length * WIDTH);
  const plain = new Uint8Array(boxes.length);
  for (const [i, { box }] of boxes.entries()) {
    plain[i] = box.length <= Field.firstCondition && box.every(isOneRange) ? 1 : 0;
    for (const [f, field] of FIELDS.entries()) {
      const [low, high] = numericHull(box[field]);
      bounds[i * WIDTH + 2 * f] = low;
      bounds[i * WIDTH + 2 * f + 1] = high;
    }
  }
  const byVerdict = [
    boxes.flatMap((b, i) => (b.passes ? [] : [i])),
    boxes.flatMap((b, i) => (b.passes ? [i] : [])),
  ];
  const opposite = byVerdict.map((list) => Int32Array.from(list));
  const sides = sideOf === undefined ? undefined : boxes.map(({ rule }) => sideOf(rule));
  const of = (side: Side) =>
    byVerdict.map((list) => Int32Array.from(list.filter((i) => sides?.[i] === side)));
  const facing = { came: of('there'), there: of('came'), aside: [EMPTY, EMPTY] };
  const found: OppositeRules[] = [];
  for (let j = 0; j < boxes.length; j++) {
    const { rule, box, passes } = boxes[j]!;
    const inside: Rule[] = [];
    const across: Rule[] = [];
    let insideCount = 0;
    let acrossCount = 0;
    const others = (sides === undefined ? opposite : facing[sides[j]!])[passes ? 0 : 1]!;
    for (let n = 0; n < others.length && others[n]! < j; n++) {
      const i = others[n]!;
      if (!boundsOverlap(bounds, i * WIDTH, j * WIDTH)) continue;
      const other = boxes[i]!;
      if (!(plain[i] && plain[j]) && !boxesOverlap(other.box, box)) continue;
      if (plain[i] && plain[j] ? boundsWithin(bounds, i * WIDTH, j * WIDTH) : isWithin(other.box, box)) {
        if (insideCount++ < most) inside.push(other.rule);
      } else if (
        !(plain[i] && plain[j] ? boundsWithin(bounds, j * WIDTH, i * WIDTH) : isWithin(box, other.box))
      ) {
        if (acrossCount++ < most) across.push(other.rule);
      }
    }
    if (insideCount + acrossCount > 0) found.push({ rule, inside, insideCount, across, acrossCount });
  }
  return found;
}

function isOneRange(set: FieldSet | undefined): boolean {
  return set === undefined || (!isAddressSet(set) && set.length === 2);
}

function boundsOverlap(bounds: Float64Array, a: number, b: number): boolean {
  for (let f = 0; f < WIDTH; f += 2) {
    if (bounds[a + f + 1]! < bounds[b + f]! || bounds[b + f + 1]! < bounds[a + f]!) return false;
  }
  return true;
}

function boundsWithin(bounds: Float64Array, a: number, b: number): boolean {
  for (let f = 0; f < WIDTH; f += 2) {
    if (bounds[a + f]! < bounds[b + f]! || bounds[a + f + 1]! > bounds[b + f + 1]!) return false;
  }
  return true;
}
