import type { Box } from '../difference/fields.ts';
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
const EMPTY = new Int32Array(0);

/** Where a rule of a changed policy comes from; `aside` is compared with none. */
export type Side = 'came' | 'there' | 'aside';

/**
 * Compares the rules of one stage pairwise, as they stand: chains they are jumped to from do not narrow them. With
 * `sideOf`, only one that came with one that was there.
 */
export function oppositeRules(boxes: readonly VerdictBox[], sideOf?: (rule: Rule) => Side): OppositeRules[] {
  const most = sideOf === undefined ? NAMED : COMPARED;
  const ranked = new RankedBoxes(boxes.map(({ box }) => box));
  const byVerdict = [false, true].map((passing) =>
    boxes.flatMap((b, i) => (b.passes === passing ? [i] : [])),
  );
  const othersOf =
    sideOf === undefined
      ? near(ranked, byVerdict)
      : facing(
          boxes.map(({ rule }) => sideOf(rule)),
          byVerdict,
        );
  const found: OppositeRules[] = [];
  for (let j = 0; j < boxes.length; j++) {
    const { rule, passes } = boxes[j]!;
    const inside: Rule[] = [];
    const across: Rule[] = [];
    let insideCount = 0;
    let acrossCount = 0;
    const others = othersOf(j, passes ? 0 : 1);
    for (let n = 0; n < others.length && others[n]! < j; n++) {
      const i = others[n]!;
      const relation = ranked.relation(i, j);
      if (relation === 'inside') {
        if (insideCount++ < most) inside.push(boxes[i]!.rule);
      } else if (relation === 'across') {
        if (acrossCount++ < most) across.push(boxes[i]!.rule);
      }
    }
    if (insideCount + acrossCount > 0) found.push({ rule, inside, insideCount, across, acrossCount });
  }
  return found;
}

/** The rules that a rule is compared with, by its number and the verdict they must have. Good until the next call. */
type Others = (rule: number, verdict: 0 | 1) => Int32Array;

function near({ bounds, width, count }: RankedBoxes, byVerdict: readonly (readonly number[])[]): Others {
  const index = new BoundsIndex(bounds, width, count);
  const bits = byVerdict.map((rules) => index.bitsOf(rules));
  return (rule, verdict) => index.near(rule, bits[verdict]!);
}

function facing(sides: readonly Side[], byVerdict: readonly (readonly number[])[]): Others {
  const of = (side: Side) => byVerdict.map((list) => Int32Array.from(list.filter((i) => sides[i] === side)));
  const opposite = { came: of('there'), there: of('came'), aside: [EMPTY, EMPTY] };
  return (rule, verdict) => opposite[sides[rule]!][verdict]!;
}
