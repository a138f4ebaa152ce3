import { intersectAddresses, intersectNumbers, type NumberSet } from '#core/address';
import type { Condition, InterfaceSet, Match } from '#core/traffic';

type Writable<T> = { -readonly [K in keyof T]: T[K] };

/**
 * Both limits at once. `never` when nothing can satisfy both; null when the two together cannot be written as
 * one match (an open set of interface names less some of them).
 */
export function bothMatches(a: Match, b: Match): Match | 'never' | null {
  const both: Writable<Match> = { ...a, ...b };
  if (a.inInterface !== undefined && b.inInterface !== undefined) {
    const names = bothInterfaces(a.inInterface, b.inInterface);
    if (names === null) return null;
    both.inInterface = names;
  }
  if (a.outInterface !== undefined && b.outInterface !== undefined) {
    const names = bothInterfaces(a.outInterface, b.outInterface);
    if (names === null) return null;
    both.outInterface = names;
  }
  if (a.source !== undefined && b.source !== undefined) both.source = intersectAddresses(a.source, b.source);
  if (a.destination !== undefined && b.destination !== undefined) {
    both.destination = intersectAddresses(a.destination, b.destination);
  }
  for (const field of ['protocol', 'sourcePort', 'destinationPort', 'icmp'] as const) {
    const x: NumberSet | undefined = a[field];
    const y: NumberSet | undefined = b[field];
    if (x !== undefined && y !== undefined) both[field] = intersectNumbers(x, y);
  }
  if (a.states !== undefined && b.states !== undefined) {
    both.states = a.states.filter((state) => b.states!.includes(state));
  }
  if (a.conditions !== undefined && b.conditions !== undefined) {
    const conditions = bothConditions(a.conditions, b.conditions);
    if (conditions === 'never') return 'never';
    both.conditions = conditions;
  }
  return isEmpty(both) ? 'never' : both;
}

/** Whether a limit of the match holds nothing. */
function isEmpty(match: Match): boolean {
  return (
    match.source?.ranges.length === 0 ||
    match.destination?.ranges.length === 0 ||
    match.protocol?.length === 0 ||
    match.sourcePort?.length === 0 ||
    match.destinationPort?.length === 0 ||
    match.icmp?.length === 0 ||
    match.states?.length === 0 ||
    (match.inInterface?.names.length === 0 && match.inInterface.except !== true) ||
    (match.outInterface?.names.length === 0 && match.outInterface.except !== true)
  );
}

/** Does `wide` (perhaps ending in `*`) hold every name that `narrow` holds? */
const covers = (wide: string, narrow: string): boolean =>
  wide.endsWith('*') ? narrow.startsWith(wide.slice(0, -1)) : wide === narrow;

function bothInterfaces(a: InterfaceSet, b: InterfaceSet): InterfaceSet | null {
  if (a.except === true && b.except === true) {
    return { names: [...new Set([...a.names, ...b.names])].sort(), except: true };
  }
  if (a.except === true || b.except === true) {
    const [except, names] = a.except === true ? [a.names, b.names] : [b.names, a.names];
    const left = names.filter((name) => !except.some((gone) => covers(gone, name)));
    return left.some((name) => except.some((gone) => covers(name, gone))) ? null : { names: left };
  }
  const names = new Set<string>();
  for (const x of a.names) {
    for (const y of b.names) {
      if (covers(x, y)) names.add(y);
      else if (covers(y, x)) names.add(x);
    }
  }
  return { names: [...names].sort() };
}

function bothConditions(a: readonly Condition[], b: readonly Condition[]): readonly Condition[] | 'never' {
  const all = [...a];
  for (const condition of b) {
    const known = all.find((other) => other.name === condition.name);
    if (known === undefined) all.push(condition);
    else if (known.holds !== condition.holds) return 'never';
  }
  return all;
}
