import {
  type AddressSet,
  everyAddress,
  type Family,
  formatAddresses,
  type NumberSet,
  pairsOf,
} from '#core/address';
import type { Condition, Rewrite } from './policy.ts';

/** Which of a packet's four endpoints' values a rewrite replaces, and what may stand there afterwards. */
export interface Replacement {
  readonly side: 'source' | 'destination';
  /** The addresses that may be chosen, or undefined where the address stays. */
  readonly addresses: AddressSet | undefined;
  readonly ports: NumberSet | undefined;
}

/**
 * What a rewrite puts in the place of what. The device's own address (`masquerade`, `redirect`) is not
 * known from the rules alone, so without `addresses` it may be any.
 */
export function replacementOf(rewrite: Rewrite, family: Family): Replacement {
  const ownAddress = rewrite.kind === 'masquerade' || rewrite.kind === 'redirect';
  return {
    side: rewrite.kind === 'snat' || rewrite.kind === 'masquerade' ? 'source' : 'destination',
    addresses: rewrite.addresses ?? (ownAddress ? everyAddress(family) : undefined),
    ports: rewrite.ports,
  };
}

/** A rewrite in words, the same for equal rewrites: `dnat to 10.0.0.1 port 8080`. */
export function rewriteText(rewrite: Rewrite): string {
  const { kind, addresses, ports } = rewrite;
  const to = addresses === undefined ? '' : ` to ${formatAddresses(addresses).join(',')}`;
  const port = ports === undefined ? '' : ` port ${numbersText(ports)}`;
  return `${kind}${to}${port}`;
}

/** Numbers and ranges as `22,80-90`. */
export function numbersText(set: NumberSet): string {
  return pairsOf(set)
    .map(([low, high]) => (low === high ? `${low}` : `${low}-${high}`))
    .join(',');
}

/**
 * The condition that a later rule hangs on when a rewrite may choose among several values and the rule
 * takes only some of them. It is named by both, so that it is one condition wherever it occurs.
 */
export function choiceCondition(rewrite: string, field: string, wanted: string): Condition {
  return { name: `the ${field} chosen by "${rewrite}" is in ${wanted}`, holds: true };
}
