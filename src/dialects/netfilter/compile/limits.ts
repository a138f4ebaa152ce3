import {
  exceptAddresses,
  exceptNumbers,
  type Family,
  type NumberSet,
  numberSet,
  pairsOf,
} from '#core/address';
import type { ConnectionState, Match } from '#core/traffic';
import type { Expression } from '../syntax.ts';
import type { Context } from './context.ts';
import { addressesFrom, numberOf, numbersFrom } from './values.ts';

const STATES: readonly ConnectionState[] = ['new', 'established', 'related', 'invalid', 'untracked'];

/** Protocol numbers of headers whose fields exist only in packets of that protocol. */
export const HEADER_PROTOCOLS: Readonly<Record<string, number>> = {
  icmp: 1,
  igmp: 2,
  tcp: 6,
  udp: 17,
  dccp: 33,
  gre: 47,
  esp: 50,
  ah: 51,
  icmpv6: 58,
  comp: 108,
  sctp: 132,
  udplite: 136,
};

/** The same as sets, which rules share. */
const PROTOCOL_SETS: ReadonlyMap<string, NumberSet> = new Map(
  Object.entries(HEADER_PROTOCOLS).map(([header, number]) => [header, [number, number]]),
);

const headers = new Map<string, string>();

/** The first word of a field's name. */
export function headerOf(field: string): string {
  let header = headers.get(field);
  if (header === undefined) {
    header = field.slice(0, field.indexOf(' '));
    if (headers.size < 1000) headers.set(field, header);
  }
  return header;
}

/** Whether packets of this family can have the header at all, as far as that is certain. */
export function hasHeader(family: Family, header: string): boolean {
  if (header === 'ip' || header === 'icmp') return family === 4;
  return family === 6 || (header !== 'ip6' && header !== 'icmpv6');
}

/**
 * The limit that "this field has one of these values" (or none of them) puts on packets of the context's family.
 * `never` when no such packet exists, null when the packet space has no such field or a value is not understood.
 */
export function limitOf(
  context: Context,
  field: string,
  values: readonly Expression[],
  negated: boolean,
): Match | 'never' | null {
  const header = headerOf(field);
  if (!hasHeader(context.family, header)) return 'never';
  switch (field) {
    case 'ip saddr':
    case 'ip6 saddr':
    case 'ip daddr':
    case 'ip6 daddr': {
      const set = addressesFrom(context.family, values);
      if (set === null) return null;
      const wanted = negated ? exceptAddresses(set) : set;
      if (wanted.ranges.length === 0) return 'never';
      return field.endsWith('saddr') ? { source: wanted } : { destination: wanted };
    }
    case 'ip protocol':
    case 'ip6 nexthdr':
    case 'meta l4proto': {
      const set = numbersFrom(field, values, 255);
      return set === null ? null : orNever(complement(set, 255, negated), (protocol) => ({ protocol }));
    }
    case 'tcp sport':
    case 'udp sport':
    case 'udplite sport':
    case 'sctp sport':
    case 'dccp sport':
    case 'th sport':
    case 'tcp dport':
    case 'udp dport':
    case 'udplite dport':
    case 'sctp dport':
    case 'dccp dport':
    case 'th dport': {
      const set = numbersFrom(field, values, 65_535);
      if (set === null) return null;
      const protocol = PROTOCOL_SETS.get(header);
      const ports = complement(set, 65_535, negated);
      if (ports.length === 0) return 'never';
      if (field.endsWith('sport')) return protocol ? { protocol, sourcePort: ports } : { sourcePort: ports };
      return protocol ? { protocol, destinationPort: ports } : { destinationPort: ports };
    }
    case 'icmp type':
    case 'icmpv6 type': {
      const set = numbersFrom(field, values, 255);
      if (set === null) return null;
      const types = pairsOf(complement(set, 255, negated));
      return orNever(numberSet(types.map(([low, high]) => [low * 256, high * 256 + 255])), (icmp) => ({
        icmp,
      }));
    }
    case 'icmp code':
    case 'icmpv6 code': {
      const set = numbersFrom(field, values, 255);
      if (set === null) return null;
      const codes = pairsOf(complement(set, 255, negated));
      const all: [number, number][] = [];
      for (let type = 0; type < 256; type++) {
        for (const [low, high] of codes) all.push([type * 256 + low, type * 256 + high]);
      }
      return orNever(numberSet(all), (icmp) => ({ icmp }));
    }
    case 'meta iif':
    case 'meta iifname':
    case 'meta oif':
    case 'meta oifname':
      return interfaceLimit(context, field, values, negated);
    case 'meta nfproto':
      return fixed(values, context.family === 4 ? ['ipv4', '2'] : ['ipv6', '10'], negated);
    case 'meta protocol':
      return fixed(
        values,
        context.family === 4 ? ['ip', '0x0800', '2048'] : ['ip6', '0x86dd', '34525'],
        negated,
      );
    case 'ct state':
      return stateLimit(context, values, negated);
    default:
      return null;
  }
}

const complement = (set: NumberSet, top: number, negated: boolean): NumberSet =>
  negated ? exceptNumbers(set, top) : set;

const orNever = (set: NumberSet, make: (set: NumberSet) => Match): Match | 'never' =>
  set.length === 0 ? 'never' : make(set);

/** A field with one known value in this context: matches always or never. */
function fixed(
  values: readonly Expression[],
  own: readonly string[],
  negated: boolean,
): Match | 'never' | null {
  if (values.some((value) => typeof value !== 'string')) return null;
  const has = values.some((value) => own.includes((value as string).toLowerCase()));
  return has !== negated ? {} : 'never';
}

function interfaceLimit(
  context: Context,
  field: string,
  values: readonly Expression[],
  negated: boolean,
): Match | 'never' | null {
  const byName = field.endsWith('name');
  // An index number tells nothing about the name.
  const isName = (value: Expression): value is string =>
    typeof value === 'string' && !value.includes('\\') && (byName || numberOf(value) === undefined);
  if (!values.every(isName)) return null;
  const names = values.length > 1 ? values.toSorted() : values;
  if (field.startsWith('meta oif') && context.beforeRouting) {
    return names.includes('') !== negated ? {} : 'never';
  }
  const set = negated ? { names, except: true } : { names };
  return field.startsWith('meta iif') ? { inInterface: set } : { outInterface: set };
}

function stateLimit(
  context: Context,
  values: readonly Expression[],
  negated: boolean,
): Match | 'never' | null {
  const wanted = new Set<ConnectionState>();
  const add = (value: Expression): boolean => {
    if (typeof value === 'string') {
      if (!STATES.includes(value as ConnectionState)) return false;
      wanted.add(value as ConnectionState);
      return true;
    }
    return value.kind === 'bits' && value.op === '|' && add(value.left) && add(value.right);
  };
  if (!values.every(add)) return null;
  const states = STATES.filter((state) => wanted.has(state) !== negated);
  // Before tracking has seen it, a packet counts as invalid (nft_ct: no entry and not exempt).
  if (context.beforeTracking) return states.includes('invalid') ? {} : 'never';
  context.notes.usesState = true;
  return states.length === 0 ? 'never' : { states };
}
