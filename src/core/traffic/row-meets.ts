import { type Family, intersectAddresses, intersectNumbers } from '#core/address';
import type { InterfaceSet, Match, Path } from './policy.ts';
import type { InterfaceTerm, TrafficRow } from './row.ts';

/**
 * May a packet be both of the row and of the flow? False only when surely none is: names of interfaces that could be
 * one another's, and conditions, count as met.
 */
export function rowMeets(row: TrafficRow, path: Path, families: readonly Family[], flow: Match): boolean {
  if (row.path !== path || !families.includes(row.family)) return false;
  const { source, destination, states } = flow;
  const numbers = [
    [row.protocols, flow.protocol],
    [row.sourcePorts, flow.sourcePort],
    [row.destinationPorts, flow.destinationPort],
    [row.icmp, flow.icmp],
  ] as const;
  const addresses = [
    [row.sources, source],
    [row.destinations, destination],
  ] as const;
  return (
    addresses.every(
      ([a, b]) =>
        a === undefined ||
        b === undefined ||
        (a.family === b.family && intersectAddresses(a, b).ranges.length > 0),
    ) &&
    numbers.every(([a, b]) => a === undefined || b === undefined || intersectNumbers(a, b).length > 0) &&
    (row.states === undefined ||
      states === undefined ||
      row.states.some((state) => states.includes(state))) &&
    (path === 'from' || namesMeet(row.inInterfaces, flow.inInterface)) &&
    (path === 'to' || namesMeet(row.outInterfaces, flow.outInterface))
  );
}

function namesMeet(terms: readonly InterfaceTerm[] | undefined, set: InterfaceSet | undefined): boolean {
  if (terms === undefined || set === undefined) return true;
  // A single name of the row is in the set or not; everything else may overlap.
  const isNamed = (name: string) =>
    set.names.some((named) => (named.endsWith('*') ? name.startsWith(named.slice(0, -1)) : named === name));
  return terms.some(({ text, single }) => {
    if (single) return isNamed(text) !== (set.except === true);
    return set.except === true || set.names.some((named) => overlap(text, named));
  });
}

function overlap(beginning: string, named: string): boolean {
  if (!named.endsWith('*')) return named.startsWith(beginning);
  const other = named.slice(0, -1);
  return other.startsWith(beginning) || beginning.startsWith(other);
}
