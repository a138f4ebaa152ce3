import { intersectAddresses, intersectNumbers } from '#core/address';
import type { Condition, InterfaceSet, Match } from '#core/traffic';

export type Writable<T> = { -readonly [K in keyof T]: T[K] };

/**
 * Both limits at once. `never` when nothing can satisfy both; null when the two together cannot be written as
 * one match (an open set of interface names less some of them).
 */
export function bothMatches(a: Match, b: Match): Match | 'never' | null {
  const both: Writable<Match> = { ...a };
  const merged = narrow(both, b);
  return merged === 'narrowed' ? both : merged;
}

/** Puts the limits of `b` on `both` as well; on null (see {@link bothMatches}) `both` stays as it was. */
export function narrow(both: Writable<Match>, b: Match): 'narrowed' | 'never' | null {
  let { inInterface, outInterface } = b;
  if (inInterface !== undefined && both.inInterface !== undefined) {
    const names = bothInterfaces(both.inInterface, inInterface);
    if (names === null) return null;
    inInterface = names;
  }
  if (outInterface !== undefined && both.outInterface !== undefined) {
    const names = bothInterfaces(both.outInterface, outInterface);
    if (names === null) return null;
    outInterface = names;
  }
  if (inInterface !== undefined) both.inInterface = inInterface;
  if (outInterface !== undefined) both.outInterface = outInterface;
  let empty = isNoInterface(inInterface) || isNoInterface(outInterface);
  // Limits are few of the many there may be: only those that `b` has are looked at.
  for (const limit in b) {
    switch (limit) {
      case 'source':
      case 'destination': {
        const had = both[limit];
        const set = had === undefined ? b[limit]! : intersectAddresses(had, b[limit]!);
        both[limit] = set;
        empty ||= set.ranges.length === 0;
        break;
      }
      case 'protocol':
      case 'sourcePort':
      case 'destinationPort':
      case 'icmp': {
        const had = both[limit];
        const set = had === undefined ? b[limit]! : intersectNumbers(had, b[limit]!);
        both[limit] = set;
        empty ||= set.length === 0;
        break;
      }
      case 'states': {
        const states = both.states?.filter((state) => b.states!.includes(state)) ?? b.states!;
        both.states = states;
        empty ||= states.length === 0;
        break;
      }
      case 'conditions': {
        const conditions =
          both.conditions === undefined ? b.conditions! : bothConditions(both.conditions, b.conditions!);
        if (conditions === 'never') return 'never';
        both.conditions = conditions;
        break;
      }
    }
  }
  return empty ? 'never' : 'narrowed';
}

const isNoInterface = (set: InterfaceSet | undefined): boolean =>
  set !== undefined && set.names.length === 0 && set.except !== true;

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
