import { WAYS } from '../difference/difference.ts';
import { type Slots, slotsOf } from '../difference/slots.ts';
import type { Policy, Rule } from '../policy.ts';
import { placeOf, type Way } from './finding.ts';

/** Where one rule of the user's material was compiled in: the same stage may hold it several times. */
export interface Occurrence {
  readonly way: Way;
  readonly slots: Slots;
  readonly slot: number;
  readonly indexes: readonly number[];
  /** Entered only by forwarded packets that a redirect hands to the device itself. */
  readonly redirected: boolean;
}

export interface PlacedRule {
  readonly rule: Rule;
  /** Those that can match a packet of their family at all. */
  readonly occurrences: readonly Occurrence[];
  readonly ways: readonly Way[];
  /** Only jumps: such a rule decides nothing itself. */
  readonly jumps: boolean;
  /** A chain's policy or a last rule without limits: there is always one, so it is never superfluous. */
  readonly last: boolean;
}

/** The rules of a policy that are asked for, by their place in the user's material. */
export function placedRules(policy: Policy, isAsked?: (rule: Rule) => boolean): PlacedRule[] {
  interface Draft {
    rule: Rule;
    occurrences: Occurrence[];
    ways: Way[];
    jumps: boolean;
    last: boolean;
  }
  const placed = new Map<string, Draft>();
  const laidOut = WAYS.map((way) => ({ way, slots: slotsOf(policy, policy, way.path, way.family) }));
  const lines = isAsked === undefined ? undefined : linesOf(laidOut, isAsked);
  for (const { way, slots } of laidOut) {
    for (let slot = 0; slot < slots.slots.length; slot++) {
      const redirected = slot >= slots.own;
      const { stage } = slots.slots[slot]!.before;
      const here = new Map<string, number[]>();
      for (const [i, { rule, sets }] of (stage?.rules ?? []).entries()) {
        if (lines !== undefined && !lines.has(rule.origin.line)) continue;
        const place = placeOf(rule);
        let draft = placed.get(place);
        if (draft === undefined) {
          draft = { rule, occurrences: [], ways: [], jumps: true, last: false };
          placed.set(place, draft);
        }
        if (!redirected && !draft.ways.includes(way)) draft.ways.push(way);
        if (!('skip' in rule.action)) draft.jumps = false;
        if (i === stage!.rules.length - 1 && Object.keys(rule.match).length === 0) draft.last = true;
        if (sets === undefined) continue;
        const indexes = here.get(place);
        if (indexes === undefined) here.set(place, [i]);
        else indexes.push(i);
      }
      for (const [place, indexes] of here)
        placed.get(place)!.occurrences.push({ way, slots, slot, indexes, redirected });
    }
  }
  const all = [...placed.values()];
  return isAsked === undefined ? all : all.filter(({ rule }) => isAsked(rule));
}

/** The lines on which rules that are asked for stand: most others are told apart by that, without their texts. */
function linesOf(
  laidOut: readonly { readonly slots: Slots }[],
  isAsked: (rule: Rule) => boolean,
): Set<number> {
  const lines = new Set<number>();
  for (const { slots } of laidOut)
    for (const { before } of slots.slots)
      for (const { rule } of before.stage?.rules ?? []) if (isAsked(rule)) lines.add(rule.origin.line);
  return lines;
}
