import { type AddressSet, parseAddress, parseAddresses, prefixSet, uniteAddresses } from '#core/address';
import type { ADDRESS_FORMATS, Mapping } from './schema.ts';

export type AddressFormat = (typeof ADDRESS_FORMATS)[number];

/** IP protocol numbers by their usual names (IANA protocol numbers registry). */
const PROTOCOLS: Readonly<Record<string, number>> = {
  icmp: 1,
  igmp: 2,
  tcp: 6,
  udp: 17,
  dccp: 33,
  gre: 47,
  esp: 50,
  ah: 51,
  icmpv6: 58,
  'ipv6-icmp': 58,
  ospf: 89,
  pim: 103,
  vrrp: 112,
  sctp: 132,
  udplite: 136,
};

/** Addresses of one text in the format given, or in any format but two-word ones; undefined when it is none. */
export function addressesOf(text: string, format?: AddressFormat): AddressSet | undefined {
  switch (format) {
    case 'name':
      return undefined;
    case 'address':
      return parseAddress(text) === undefined ? undefined : parseAddresses(text);
    case 'low-high':
      return text.includes('-') ? parseAddresses(text) : undefined;
    case 'a.b.c.d mask':
      return parseAddresses(text.trim().replace(/\s+/, '/'));
    case 'a.b.c.d wildcard':
      return wildcard(text);
    case 'a.b.c.d/len':
      return /\/\d+$/.test(text) ? parseAddresses(text) : undefined;
    case 'a.b.c.d/mask':
      return /\/[\d.]+\.[\d.]+$/.test(text) ? parseAddresses(text) : undefined;
    default:
      return parseAddresses(text);
  }
}

/** An address with an inverted mask, such as `10.1.0.0 0.0.255.255`; only contiguous ones. */
function wildcard(text: string): AddressSet | undefined {
  const [base, inverted] = text
    .trim()
    .split(/[\s/]+/)
    .map((part) => parseAddress(part));
  if (base?.length !== 1 || inverted?.length !== 1) return undefined;
  const free = inverted[0]! + 1;
  const bits = Math.log2(free);
  return Number.isInteger(bits) ? prefixSet(base, 32 - bits) : undefined;
}

/** Words grouped as the format wants them: two-word formats take pairs, unless a word is `any` or a name. */
export function inEntries(words: readonly string[], format?: AddressFormat): readonly string[] {
  if (format !== 'a.b.c.d mask' && format !== 'a.b.c.d wildcard') return words;
  const entries: string[] = [];
  for (let i = 0; i < words.length; i++) {
    const pair =
      words[i + 1] !== undefined &&
      parseAddress(words[i]!) !== undefined &&
      parseAddress(words[i + 1]!) !== undefined;
    entries.push(pair ? `${words[i]} ${words[++i]}` : words[i]!);
  }
  return entries;
}

/** A list of names or values, or all but these. */
export interface Listed {
  readonly negated: boolean;
  readonly entries: readonly string[];
}

/**
 * A list without its words for not: such a word in front turns the whole list round (`not quay mole`), and so does a sign
 * that every entry begins with (`!quay !mole`). Undefined where it stands otherwise, since that may mean several things.
 */
export function listedIn(
  texts: readonly string[],
  { not }: Mapping['words'],
  format?: AddressFormat,
): Listed | undefined {
  const signs = not.filter((word) => /^\W$/.test(word));
  const signOf = (text: string) => signs.find((sign) => text.startsWith(sign) && text !== sign);
  const isMarked = (text: string) => not.includes(text) || signOf(text) !== undefined;
  const [first, ...rest] = texts;
  if (first === undefined || !texts.some(isMarked))
    return { negated: false, entries: inEntries(texts, format) };
  if (not.includes(first))
    return rest.some(isMarked) ? undefined : { negated: true, entries: inEntries(rest, format) };
  const bare = texts.map((text) => text.slice(signOf(text)?.length ?? 0));
  const entries = inEntries(bare, format);
  const all = texts.every((text) => signOf(text) !== undefined);
  const one = entries.length === 1 && signOf(first) !== undefined && !rest.some(isMarked);
  return all || one ? { negated: true, entries } : undefined;
}

/** A word of a table; words such as `constructor` are no words of it. */
function own(table: Readonly<Record<string, number>>, word: string): number | undefined {
  return Object.hasOwn(table, word) ? table[word] : undefined;
}

/** A protocol by number or name; undefined when it is neither. */
export function protocolOf(text: string, words: Mapping['words']): number | undefined {
  if (/^\d{1,3}$/.test(text)) return Number(text) <= 255 ? Number(text) : undefined;
  return own(words.protocols, text) ?? own(PROTOCOLS, text.toLowerCase());
}

/** Ports of one text: a number, a range `1024-65535` or `1024:65535`, or a word of the mapping. */
export function portsOf(text: string, words: Mapping['words']): readonly [number, number] | undefined {
  const ends = SEPARATOR.test(text) ? text.split(SEPARATOR) : null;
  if (ends !== null && ends.length > 2) return undefined;
  const low = portOf(ends?.[0] ?? text, words);
  const high = ends === null ? low : portOf(ends[1]!, words);
  return low !== undefined && high !== undefined && low <= high && high <= 65535 ? [low, high] : undefined;
}

const SEPARATOR = /[-:]/;

function portOf(text: string, words: Mapping['words']): number | undefined {
  return /^\d{1,5}$/.test(text) ? Number(text) : own(words.ports, text);
}

/** At most one set of each family, which together hold what the given ones hold. */
export function unite(sets: readonly AddressSet[]): readonly AddressSet[] {
  const [first, ...rest] = sets;
  if (first === undefined || rest.length === 0) return sets;
  const united = [first];
  for (const set of rest) {
    const index = united.findIndex(({ family }) => family === set.family);
    if (index < 0) united.push(set);
    else united[index] = uniteAddresses(united[index]!, set);
  }
  return united;
}
