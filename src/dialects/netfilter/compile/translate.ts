import { addressSet, everyAddress, type NumberSet } from '#core/address';
import type { Origin, Rewrite } from '#core/traffic';
import { formatExpression, formatStatement } from '../format.ts';
import type { Expression, Nat } from '../syntax.ts';
import { elementsOf, NEVER, type Test } from './comparison.ts';
import type { Context } from './context.ts';
import { keyTest } from './lookup.ts';
import { addressesFrom, numbersFrom, singles } from './values.ts';

/** One way a translation may go: for packets that meet the tests. */
export interface Way {
  readonly tests: readonly Test[];
  readonly rewrite: Rewrite;
}

/** The rewrites of a translation, one per outcome of its maps. Empty when it does not concern this family. */
export function rewritesOf(context: Context, nat: Nat, origin: Origin): Way[] {
  if (nat.family !== null && (nat.family === 'ip') !== (context.family === 4)) return [];
  const ways: Way[] = [];
  for (const target of outcomes(context, nat.address)) {
    let address = target.value;
    let port = nat.port;
    // `to ip saddr . tcp dport map { … : address . port }`
    if (address !== null && typeof address !== 'string' && address.kind === 'concat') {
      [address, port] = [address.parts[0] ?? null, address.parts[1] ?? null];
    }
    for (const portTarget of outcomes(context, port)) {
      const rewrite = rewriteOf(context, nat, address, portTarget.value, origin);
      if (rewrite !== null) ways.push({ tests: [...target.tests, ...portTarget.tests], rewrite });
    }
  }
  return ways;
}

interface Outcome {
  readonly tests: readonly Test[];
  readonly value: Expression | null;
}

/** A plain value, or one outcome per different value of a map. */
function outcomes(context: Context, value: Expression | null): Outcome[] {
  if (value === null || typeof value === 'string' || value.kind !== 'lookup') return [{ tests: [], value }];
  const elements = elementsOf(context, value.map);
  if (elements === null) return [{ tests: [], value }];
  const groups = new Map<string, { keys: Expression[]; data: Expression }>();
  for (const element of elements) {
    if (typeof element === 'string' || element.kind !== 'pair') continue;
    const text = formatExpression(element.data);
    const group = groups.get(text);
    if (group === undefined) groups.set(text, { keys: [element.key], data: element.data });
    else group.keys.push(element.key);
  }
  // The catch-all `*` comes last.
  const isCatchAll = (keys: readonly Expression[]): boolean =>
    keys.some((k) => typeof k !== 'string' && k.kind === 'any');
  const ordered = [...groups.values()].sort(
    (a, b) => Number(isCatchAll(a.keys)) - Number(isCatchAll(b.keys)),
  );
  return ordered.map(({ keys, data }) => ({
    tests: [keyTest(context, value.key, keys) ?? NEVER],
    value: data,
  }));
}

function rewriteOf(
  context: Context,
  nat: Nat,
  address: Expression | null,
  port: Expression | null,
  origin: Origin,
): Rewrite | null {
  const { family, notes, paths } = context;
  const kind = nat.nat;
  let addresses = address === null ? null : addressesFrom(family, [...singles(address)]);
  if (address !== null && addresses === null) {
    // An address of the other family: this statement is for that family only.
    if (addressesFrom(family === 4 ? 6 : 4, [...singles(address)]) !== null) return null;
    notes.unread(
      origin,
      `the target of "${formatStatement(nat)}" is not known`,
      { family, paths },
      undefined,
    );
    addresses = everyAddress(family);
  }
  let ports: NumberSet | null = null;
  if (port !== null) {
    ports = numbersFrom('tcp dport', singles(port), 65_535);
    if (ports === null) {
      notes.unread(
        origin,
        `the port of "${formatStatement(nat)}" is not known`,
        { family, paths },
        undefined,
      );
      ports = [0, 65_535];
    }
  }
  return {
    kind,
    ...(addresses === null ? {} : { addresses: addressSet(family, addresses.ranges) }),
    ...(ports === null ? {} : { ports }),
  };
}
