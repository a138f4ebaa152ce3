import type { Family } from '#core/address';
import type { Path, Rule } from '../policy.ts';
import type { SpecialBlock } from '../special-purpose.ts';

/** Where a finding holds. A rule may stand on several ways: the same line for both families, or in a chain used twice. */
export interface Way {
  readonly path: Path;
  readonly family: Family;
}

interface Common {
  readonly rule: Rule;
  readonly ways: readonly Way[];
}

/** Something about one policy worth a second look, with its proof. */
export type Finding =
  /** No packet at all matches, whatever stands before. */
  | (Common & { readonly kind: 'matches nothing' })
  /** Every packet it matches is decided before it, by these rules together: none of them need contain it alone. */
  | (Common & { readonly kind: 'never reached'; readonly because: readonly Rule[] })
  /** It is reached, but without it every packet would be treated the same; by these rules. */
  | (Common & { readonly kind: 'redundant'; readonly because: readonly Rule[] })
  /** It takes in all that the earlier rules match, with the opposite verdict: they are exceptions to it, or it undoes them. */
  | (Common & { readonly kind: 'widening'; readonly of: readonly Rule[]; readonly count: number })
  /** It shares packets with these earlier rules of the opposite verdict, neither containing the other: order decides. */
  | (Common & { readonly kind: 'overlap'; readonly with: readonly Rule[]; readonly count: number })
  /** It lets pass, from anywhere to anywhere, what no rule with limits takes. */
  | (Common & { readonly kind: 'any to any' })
  /** It lets packets in from an outside interface whose source address cannot come from there (RFC 6890). */
  | (Common & {
      readonly kind: 'special source';
      readonly interface: string;
      readonly blocks: readonly SpecialBlock[];
    });

export interface Findings {
  readonly findings: readonly Finding[];
  /** Rules that the budget did not suffice to examine for being reached or redundant. */
  readonly unexamined: readonly Rule[];
  /** Outside interfaces of which it could not be found out in full what sources they let in. */
  readonly unexaminedOutside?: readonly string[];
}

/** How many rules a finding names at most; `count` says how many there are. */
export const NAMED = 8;

/** One text per rule of the user's material, however often it was compiled in. */
export function placeOf({ origin }: Rule): string {
  return `${origin.file}:${origin.line}:${origin.text}`;
}
