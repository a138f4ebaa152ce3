import { type AddressSet, type Family, formatAddresses, type NumberSet, pairsOf } from '#core/address';
import { inInterfaces } from '../decide.ts';
import type { Condition, InterfaceSet, Path, Rewrite } from '../policy.ts';
import { choiceCondition, numbersText, replacementOf, rewriteText } from '../translation.ts';
import {
  type Box,
  Field,
  type FieldSet,
  fieldSetOf,
  intersectSets,
  isAddressSet,
  isEmptySet,
  setsOverlap,
} from './fields.ts';
import type { InterfaceNames } from './interfaces.ts';
import type { LoadedRule } from './load.ts';

/** What stands in the place of a field after a translation: one of these values, chosen by `by`. */
interface Chosen {
  readonly from: FieldSet;
  readonly by: string;
}

/** How a stage sees packets: which fields earlier translations replaced. */
export interface View {
  readonly key: string;
  readonly rewrites: readonly Rewrite[];
  /** By field number, for source, destination, sourcePort and service. */
  readonly chosen: readonly (Chosen | undefined)[];
  /** Whether packets have no interface on that side. */
  readonly noIn: boolean;
  readonly noOut: boolean;
  /** The changed rule that let the packet pass so far, or -1: later stages carry it along as the reason. */
  readonly cause: number;
}

/** The view of a packet's first stage. */
export function firstView(path: Path): View {
  return { key: '', rewrites: [], chosen: [], noIn: path === 'from', noOut: path === 'to', cause: -1 };
}

/** The view after one more translation. */
export function translatedView(view: View, rewrite: Rewrite, family: Family): View {
  const { side, addresses, ports } = replacementOf(rewrite, family);
  const by = rewriteText(rewrite);
  const chosen = [...view.chosen];
  if (addresses !== undefined) chosen[Field[side]] = { from: fieldSetOf(addresses), by };
  if (ports !== undefined) chosen[side === 'source' ? Field.sourcePort : Field.service] = { from: ports, by };
  return {
    ...view,
    key: `${view.key}${by};`,
    rewrites: [...view.rewrites, rewrite],
    chosen,
    noOut: view.noOut || rewrite.kind === 'redirect',
  };
}

/** The same view with another reason. */
export function causedView(view: View, cause: number): View {
  return { ...view, cause };
}

const FIELD_WORDS = ['', '', 'source', 'destination', '', 'source port', 'destination port'];

/** What a rule's box needs to know of the comparison it is part of. */
export interface BoxContext {
  readonly inNames: InterfaceNames;
  readonly outNames: InterfaceNames;
  /** The field number of a named condition. */
  conditionField(name: string): number;
}

/** The packets, as they arrived, that the rule matches under this view; undefined when there are none. */
export function boxOf(rule: LoadedRule, view: View, context: BoxContext): Box | undefined {
  if (rule.sets === undefined) return undefined;
  const box = rule.sets.slice();
  const inside = sideOf(rule.inInterface, view.noIn, context.inNames);
  const outside = sideOf(rule.outInterface, view.noOut, context.outNames);
  if (inside === null || outside === null) return undefined;
  box[Field.inInterface] = inside;
  box[Field.outInterface] = outside;
  const conditions: Condition[] = [...rule.conditions];
  for (const [field, chosen] of view.chosen.entries()) {
    const wanted = box[field];
    if (chosen === undefined || wanted === undefined) continue;
    // A chosen port only exists where the protocol has ports; ICMP keeps its type and code.
    if (field === Field.service && isIcmpOnly(box)) continue;
    const both = intersectSets(wanted, chosen.from);
    if (isEmptySet(both)) return undefined;
    box[field] = undefined;
    const text = textOf(both, field);
    if (text !== textOf(chosen.from, field))
      conditions.push(choiceCondition(chosen.by, FIELD_WORDS[field]!, text));
  }
  for (const { name, holds } of conditions) {
    const field = context.conditionField(name);
    const value = holds ? 1 : 0;
    const before = box[field] as NumberSet | undefined;
    if (before !== undefined && before[0] !== value) return undefined;
    while (box.length <= field) box.push(undefined);
    box[field] = [value, value];
  }
  return box;
}

/** A quick look without making the rule's box: false proves that rule and region share no packet. */
export function mayMeet(rule: LoadedRule, view: View, region: Box, context: BoxContext): boolean {
  // Interfaces first: where rules name zones, most rules are apart by these.
  if (!view.noIn && !atomsMeet(rule.inInterface, region[Field.inInterface], context.inNames)) return false;
  if (!view.noOut && !atomsMeet(rule.outInterface, region[Field.outInterface], context.outNames))
    return false;
  return setsMeet(rule, view, region);
}

/** The same by all but the interfaces. */
export function setsMeet({ sets }: LoadedRule, view: View, region: Box): boolean {
  if (sets === undefined) return false;
  for (let field: number = Field.source; field < Field.firstCondition; field++) {
    const mine = sets[field];
    const other = region[field];
    if (mine === undefined || other === undefined || view.chosen[field] !== undefined) continue;
    if (!setsOverlap(mine, other)) return false;
  }
  return true;
}

/** Whether a set of interfaces shares a name with the numbered ones of a region. */
export function atomsMeet(
  set: InterfaceSet | undefined,
  other: FieldSet | undefined,
  names: InterfaceNames,
): boolean {
  if (set === undefined || other === undefined) return true;
  const atoms = names.numbersOf(set);
  return atoms === undefined || setsOverlap(atoms, other);
}

/** Interface numbers, undefined for any, or null when the rule cannot match. */
function sideOf(
  set: InterfaceSet | undefined,
  none: boolean,
  names: InterfaceNames,
): NumberSet | undefined | null {
  if (none) return inInterfaces(set, '') ? undefined : null;
  const atoms = names.numbersOf(set);
  return atoms !== undefined && atoms.length === 0 ? null : atoms;
}

function isIcmpOnly(box: Box): boolean {
  const protocol = box[Field.protocol] as NumberSet | undefined;
  return (
    protocol !== undefined &&
    pairsOf(protocol).every(([low, high]) => low === high && (low === 1 || low === 58))
  );
}

function textOf(set: FieldSet, field: number): string {
  if (isAddressSet(set)) return formatAddresses(set).join(',');
  const address = field === Field.source || field === Field.destination;
  return address ? formatAddresses(ipv4(set)).join(',') : numbersText(set);
}

function ipv4(set: NumberSet): AddressSet {
  return { family: 4, ranges: pairsOf(set).map(([low, high]) => ({ low: [low], high: [high] })) };
}
