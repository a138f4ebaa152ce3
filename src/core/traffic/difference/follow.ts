import { type Address, compareAddresses, type NumberSet } from '#core/address';
import { hasPorts, icmpProtocol, type Packet } from '../packet.ts';
import type { Rule } from '../policy.ts';
import { candidatesAmong } from './candidates.ts';
import type { OpenComparison } from './comparison.ts';
import { type Box, Field, isAddressSet, STATES } from './fields.ts';
import type { InterfaceNames } from './interfaces.ts';
import type { Item } from './program.ts';

/** A packet's value in one field. */
export type Value = number | Address;

/** The rules that a packet owes its outcome to. */
export interface Deciders {
  /** The rule that decides on the verdict. */
  readonly verdict: Rule | undefined;
  /** Of the rules that translate the packet or leave it as it is: one that changed before others, then one that translates. */
  readonly translation: Rule | undefined;
}

/**
 * The rules that decide on a packet, found among the items of a cluster instead of among all rules of the policy. The
 * packet must lie in one of the cluster's regions.
 */
export function decidingRules(items: readonly Item[], packet: Packet, comparison: OpenComparison): Deciders {
  const values = valuesOf(packet, comparison);
  let verdict: Rule | undefined;
  let translation: Rule | undefined;
  let heaviest = 0;
  let from = 0;
  for (const i of candidatesAmong(items, values)) {
    const { box, outcome, target, rule, changed } = items[i]!;
    if (i < from || !boxHolds(box, values)) continue;
    const action = rule?.rule.action;
    if (action !== undefined && 'verdict' in action && action.verdict !== 'accept')
      return { verdict: rule!.rule, translation };
    if (action !== undefined && !('skip' in action)) {
      if (comparison.translates(rule!)) {
        const weight = changed ? 2 : 'rewrite' in action ? 1 : 0;
        if (translation === undefined || weight >= heaviest) translation = rule!.rule;
        heaviest = Math.max(heaviest, weight);
      }
      // The last accept that has a limit is the reason; one without is a chain's policy.
      else if (isLimited(rule!.rule) || verdict === undefined || !isLimited(verdict)) verdict = rule!.rule;
    }
    if (outcome !== undefined) break;
    from = target;
  }
  return { verdict, translation };
}

function isLimited({ match }: Rule): boolean {
  return Object.keys(match).length > 0;
}

function valuesOf(packet: Packet, { inNames, outNames, conditionNames, slots }: OpenComparison): Value[] {
  const { family } = slots;
  const values: Value[] = [];
  values[Field.inInterface] = atomOf(packet.inInterface, inNames);
  values[Field.outInterface] = atomOf(packet.outInterface, outNames);
  values[Field.source] = family === 4 ? packet.source[0]! : packet.source;
  values[Field.destination] = family === 4 ? packet.destination[0]! : packet.destination;
  values[Field.protocol] = packet.protocol;
  values[Field.sourcePort] = packet.sourcePort ?? 0;
  const icmp = packet.protocol === icmpProtocol(family);
  values[Field.service] = icmp
    ? (packet.icmpType ?? 0) * 256 + (packet.icmpCode ?? 0)
    : hasPorts(packet.protocol)
      ? (packet.destinationPort ?? 0)
      : 0;
  values[Field.state] = STATES.indexOf(packet.state);
  for (const name of conditionNames) values.push(packet.conditions?.includes(name) ? 1 : 0);
  return values;
}

function atomOf(name: string, names: InterfaceNames): number {
  const single = names.atoms.findIndex((atom) => atom.single && atom.text === name);
  // Beginnings stand longest first, so the first that fits is the one that the name belongs to.
  return single >= 0 ? single : names.atoms.findIndex((atom) => !atom.single && name.startsWith(atom.text));
}

/** Whether a packet, as a value per field, lies in a box. */
export function boxHolds(box: Box, values: readonly Value[]): boolean {
  for (let field = 0; field < box.length; field++) {
    const set = box[field];
    if (set === undefined) continue;
    const value = values[field]!;
    if (isAddressSet(set)) {
      const inside = set.ranges.some(
        ({ low, high }) =>
          compareAddresses(low, value as Address) <= 0 && compareAddresses(value as Address, high) <= 0,
      );
      if (!inside) return false;
    } else if (!inNumbers(set, value as number)) return false;
  }
  return true;
}

function inNumbers(set: NumberSet, value: number): boolean {
  let low = 0;
  let high = set.length / 2;
  // The last range that begins at the value or before.
  while (low < high) {
    const middle = (low + high) >> 1;
    if (set[2 * middle]! <= value) low = middle + 1;
    else high = middle;
  }
  return low > 0 && value <= set[2 * low - 1]!;
}
