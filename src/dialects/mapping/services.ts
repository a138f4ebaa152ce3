import { type NumberSet, numberSet, pairsOf } from '#core/address';
import type { Value } from '#core/config';
import type { Entry } from './entry.ts';
import type { EntryOf, Mapping } from './schema.ts';
import { addressesOf, portsOf, protocolOf } from './texts.ts';

/** A service as the mapping gives it; absent parts do not limit. Unknown texts are named. */
export interface Service {
  readonly protocols: NumberSet | null;
  readonly ports: NumberSet | null;
  readonly sourcePorts: NumberSet | null;
  /** Types of ICMP as `type` or `type/code`. */
  readonly icmp: readonly string[];
  readonly unknown: readonly string[];
}

/** Reads the parts of a service, of an object or a rule. */
export function serviceOf(
  entry: Entry,
  as: {
    readonly [Part in 'protocol' | 'ports' | 'source-ports' | 'icmp']?: EntryOf<'services'>[Part] | undefined;
  },
  { words }: Mapping,
): Service {
  const unknown: string[] = [];
  const set = (
    field: EntryOf<'services'>['ports'],
    what: string,
    read: (text: string) => readonly [number, number] | undefined,
  ): NumberSet | null => {
    const texts = entry.texts(field);
    if (texts.length === 0 || texts.some(({ text }) => words.any.includes(text))) return null;
    const pairs: (readonly [number, number])[] = [];
    for (const { text } of texts) {
      const found = read(text);
      if (found === undefined) unknown.push(`${what} ${text}`);
      else pairs.push(found);
    }
    return numberSet(pairs);
  };
  const protocols = set(as.protocol, 'protocol', (text) => {
    const number = protocolOf(text, words);
    return number === undefined ? undefined : [number, number];
  });
  const ports = (text: string) => portsOf(text, words);
  const icmp = entry.texts(as.icmp).map(({ text }) => text);
  const strange = icmp.filter((text) => !words.any.includes(text) && !/^\d{1,3}(?:[/:]\d{1,3})?$/.test(text));
  unknown.push(...strange.map((text) => `ICMP type ${text}`));
  return {
    protocols,
    // What is not understood must not widen the match: no port at all, and the unknown text as a condition.
    ports: strange.length > 0 ? [] : set(as.ports, 'ports', ports),
    sourcePorts: set(as['source-ports'], 'source ports', ports),
    icmp,
    unknown,
  };
}

/** A service in comparable form. */
export function serviceValue({ protocols, ports, sourcePorts, icmp, unknown }: Service): {
  readonly [field: string]: Value;
} {
  const ranges = (set: NumberSet | null) =>
    set === null
      ? null
      : pairsOf(set)
          .map(([low, high]) => (low === high ? `${low}` : `${low}-${high}`))
          .sort();
  return {
    protocols: ranges(protocols),
    ports: ranges(ports),
    sourcePorts: ranges(sourcePorts),
    icmp: [...icmp].sort(),
    ...(unknown.length > 0 ? { texts: unknown } : {}),
  };
}

/** Does a text stand for itself: an address, a protocol or port, a word for any or not? */
export function isLiteral(text: string, { words }: Mapping): boolean {
  return (
    words.any.includes(text) ||
    words.not.includes(text) ||
    addressesOf(text) !== undefined ||
    inlineService(text, words) !== null
  );
}

/** A service written in place: `tcp`, `tcp/443`, `udp:53`, `tcp/1024-65535`, or ports alone. Null when it is not one. */
export function inlineService(text: string, words: Mapping['words']): Service | null {
  const [protocolText, portText, more] = text.split(/[/:]/);
  const number = protocolOf(protocolText!, words);
  const none = { sourcePorts: null, icmp: [], unknown: [] };
  if (more !== undefined || number === undefined || /^\d/.test(text)) return null;
  if (portText === undefined) return { ...none, protocols: [number, number], ports: null };
  if ((number === 1 || number === 58) && !/^\d{1,3}$/.test(portText)) return null;
  if (number === 1 || number === 58)
    return { ...none, protocols: [number, number], ports: null, icmp: [portText] };
  const ports = portsOf(portText, words);
  return ports === undefined ? null : { ...none, protocols: [number, number], ports };
}
