import { type Box, boxesOverlap } from '../difference/fields.ts';
import type { Rule } from '../policy.ts';
import { BoundsIndex } from './bounds-index.ts';
import { NAMED } from './finding.ts';
import { RankedBoxes } from './ranked-boxes.ts';

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

/** How many earlier rules are kept at most where two sides are compared. */
const COMPARED = 64;

/** Where a rule of a changed policy comes from; `aside` is compared with none. */
export type Side = 'came' | 'there' | 'aside';

/** Compares the rules of one stage pairwise, as they stand: chains they are jumped to from do not narrow them. */
export function oppositeRules(boxes: readonly VerdictBox[]): OppositeRules[] {
  const ranked = new RankedBoxes(boxes.map(({ box }) => box));
  const index = new BoundsIndex(ranked);
  const [blocking, passing] = byVerdict(boxes).map((rules) => index.bitsOf(rules));
  return compared(boxes, ranked, NAMED, (rule) =>
    index.near(rule, (boxes[rule]!.passes ? blocking : passing)!),
  );
}

/** The same, of pairs of one rule that came with one that was there only. */
export function newOppositeRules(all: readonly VerdictBox[], sideOf: (rule: Rule) => Side): OppositeRules[] {
  const came = all.filter(({ rule }) => sideOf(rule) === 'came');
  // Mostly few came: what shares packets with none of them need not be ranked.
  const boxes = all.filter(({ rule, box }) => {
    const side = sideOf(rule);
    return side === 'came' || (side === 'there' && came.some((one) => boxesOverlap(one.box, box)));
  });
  const lists = byVerdict(boxes);
  const of = (side: Side) =>
    lists.map((list) => Int32Array.from(list.filter((i) => sideOf(boxes[i]!.rule) === side)));
  const facing = { came: of('there'), there: of('came') };
  const ranked = new RankedBoxes(boxes.map(({ box }) => box));
  return compared(boxes, ranked, COMPARED, (rule) => {
    const side = sideOf(boxes[rule]!.rule) === 'came' ? 'came' : 'there';
    return facing[side][boxes[rule]!.passes ? 0 : 1]!;
  });
}

/** Where the rules stand that do not let packets pass, and where those that do. */
function byVerdict(boxes: readonly VerdictBox[]): number[][] {
  return [false, true].map((passing) => boxes.flatMap((b, i) => (b.passes === passing ? [i] : [])));
}

/** `othersOf`: the rules that a rule is compared with, ascending; good until the next call. */
function compared(
  boxes: readonly VerdictBox[],
  ranked: RankedBoxes,
  most: number,
  othersOf: (rule: number) => Int32Array,
): OppositeRules[] {
  const found: OppositeRules[] = [];
  for (let j = 0; j < boxes.length; j++) {
    const inside: Rule[] = [];
    const across: Rule[] = [];
    let insideCount = 0;
    let acrossCount = 0;
    const others = othersOf(j);
    for (let n = 0; n < others.length && others[n]! < j; n++) {
      const i = others[n]!;
      const relation = ranked.relation(i, j);
      if (relation === 'inside') {
        if (insideCount++ < most) inside.push(boxes[i]!.rule);
      } else if (relation === 'across') {
        if (acrossCount++ < most) across.push(boxes[i]!.rule);
      }
    }
    if (insideCount + acrossCount > 0)
      found.push({ rule: boxes[j]!.rule, inside, insideCount, across, acrossCount });
  }
  return found;
}
