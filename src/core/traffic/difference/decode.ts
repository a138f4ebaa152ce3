import {
  type Address,
  type AddressSet,
  type Family,
  hasAddress,
  type NumberSet,
  pairsOf,
  parseAddress,
} from '#core/address';
import { hasPorts, icmpProtocol, type Packet, PORT_PROTOCOLS } from '../packet.ts';
import type { Path } from '../policy.ts';
import type { InterfaceTerm, PacketSet } from '../row.ts';
import { Field, type FieldSet, isAddressSet, STATES } from './fields.ts';
import type { InterfaceNames } from './interfaces.ts';

export interface Names {
  readonly inNames: InterfaceNames;
  readonly outNames: InterfaceNames;
  readonly conditionNames: readonly string[];
}

/**
 * Splits a box so that each part's `service` means one thing: ports, or ICMP types and codes. Diagrams may share a node
 * between the two when their numbers happen to agree.
 */
export function splitServices(
  box: readonly (FieldSet | undefined)[],
  family: Family,
): (FieldSet | undefined)[][] {
  const service = box[Field.service];
  if (service === undefined) return [[...box]];
  const protocols = box[Field.protocol] as NumberSet | undefined;
  const all = pairsOf(protocols ?? [0, 255]).flatMap(([low, high]) =>
    Array.from({ length: high - low + 1 }, (_, i) => low + i),
  );
  const kinds = [
    all.filter(hasPorts),
    all.filter((p) => p === icmpProtocol(family)),
    all.filter((p) => !hasPorts(p) && p !== icmpProtocol(family)),
  ];
  return kinds.flatMap((kind, k) => {
    if (kind.length === 0) return [];
    const part = [...box];
    part[Field.protocol] = kind.flatMap((p) => [p, p]);
    // Without ports or types every packet of the protocol is meant.
    if (k === 2) part[Field.service] = undefined;
    return [part];
  });
}

export function packetSetOf(box: readonly (FieldSet | undefined)[], family: Family, names: Names): PacketSet {
  const protocols = box[Field.protocol] as NumberSet | undefined;
  const icmpOnly =
    protocols?.length === 2 && protocols[0] === icmpProtocol(family) && protocols[1] === protocols[0];
  const service = box[Field.service] as NumberSet | undefined;
  return {
    inInterfaces: termsOf(box[Field.inInterface] as NumberSet | undefined, names.inNames),
    outInterfaces: termsOf(box[Field.outInterface] as NumberSet | undefined, names.outNames),
    sources: addressesOf(box[Field.source]),
    destinations: addressesOf(box[Field.destination]),
    protocols,
    sourcePorts: box[Field.sourcePort] as NumberSet | undefined,
    destinationPorts: icmpOnly ? undefined : service,
    icmp: icmpOnly ? service : undefined,
    states: each(box[Field.state] as NumberSet | undefined)?.map((s) => STATES[s]!),
    conditions: names.conditionNames.flatMap((name, i) => {
      const set = box[Field.firstCondition + i] as NumberSet | undefined;
      return set === undefined ? [] : [{ name, holds: set[0] === 1 }];
    }),
  };
}

function each(set: NumberSet | undefined): number[] | undefined {
  return set === undefined
    ? undefined
    : pairsOf(set).flatMap(([low, high]) => Array.from({ length: high - low + 1 }, (_, i) => low + i));
}

function addressesOf(set: FieldSet | undefined): AddressSet | undefined {
  if (set === undefined || isAddressSet(set)) return set;
  return { family: 4, ranges: pairsOf(set).map(([low, high]) => ({ low: [low], high: [high] })) };
}

function termsOf(set: NumberSet | undefined, names: InterfaceNames): InterfaceTerm[] | undefined {
  return each(set)?.map((n) => {
    const atom = names.atoms[n]!;
    const but = atom.single
      ? []
      : names.atoms
          .filter((other) => other !== atom && other.text.startsWith(atom.text))
          .map((other) => (other.single ? other.text : `${other.text}*`));
    return { text: atom.text, single: atom.single, but };
  });
}

/** Documentation addresses (RFC 5737, RFC 3849) stand for "any" in examples. */
const PREFERRED = {
  4: { source: parseAddress('198.51.100.1')!, destination: parseAddress('203.0.113.1')! },
  6: { source: parseAddress('2001:db8:51::1')!, destination: parseAddress('2001:db8:113::1')! },
};

/** One packet of the set, the plainest there is: TCP before other protocols, port 443, a new connection. */
export function exampleOf(
  box: readonly (FieldSet | undefined)[],
  set: PacketSet,
  path: Path,
  family: Family,
  names: Names,
): Packet {
  const protocol = pick(set.protocols, [6, 17, icmpProtocol(family), ...PORT_PROTOCOLS], 6);
  const nameOf = (field: number, side: InterfaceNames) =>
    side.atoms[(box[field] as NumberSet | undefined)?.[0] ?? 0]!.example;
  const icmp = pick(set.icmp, [family === 4 ? 8 * 256 : 128 * 256], family === 4 ? 8 * 256 : 128 * 256);
  const holding = set.conditions.filter((c) => c.holds).map((c) => c.name);
  return {
    path,
    family,
    inInterface: path === 'from' ? '' : nameOf(Field.inInterface, names.inNames),
    outInterface: path === 'to' ? '' : nameOf(Field.outInterface, names.outNames),
    source: pickAddress(set.sources, PREFERRED[family].source),
    destination: pickAddress(set.destinations, PREFERRED[family].destination),
    protocol,
    ...(hasPorts(protocol) && {
      sourcePort: pick(set.sourcePorts, [40000], 40000),
      destinationPort: pick(set.destinationPorts, [443], 443),
    }),
    ...(protocol === icmpProtocol(family) && { icmpType: icmp >> 8, icmpCode: icmp & 255 }),
    state: set.states?.[0] ?? 'new',
    ...(holding.length > 0 && { conditions: holding }),
  };
}

function pick(set: NumberSet | undefined, preferred: readonly number[], any: number): number {
  if (set === undefined) return any;
  const pairs = pairsOf(set);
  return preferred.find((p) => pairs.some(([low, high]) => low <= p && p <= high)) ?? set[0]!;
}

/** The preferred address, or the first host of the first range: not a network's own address where there is a choice. */
function pickAddress(set: AddressSet | undefined, preferred: Address): Address {
  if (set === undefined || hasAddress(set, preferred)) return preferred;
  const { low } = set.ranges[0]!;
  const host = [...low.slice(0, -1), low.at(-1)! + 1];
  return low.at(-1)! < 0xffff_ffff && hasAddress(set, host) ? host : low;
}
