import { z } from 'zod';
import { type AddressSet, type NumberSet, numberSet, parseAddresses, uniteAddresses } from '#core/address';
import { TuckpointError } from '#core/errors';
import { icmpTypeNumber, type Match, protocolNumber, type TrafficPromise } from '#core/traffic';
import { readDocument } from '#document';

const oneOrMore = z.union([z.string(), z.number()]).or(z.array(z.union([z.string(), z.number()])).min(1));

const promiseSchema = z.strictObject({
  says: z.string().min(1),
  must: z.enum(['pass', 'not pass']),
  path: z.enum(['through', 'to', 'from']).default('through'),
  from: oneOrMore.optional(),
  to: oneOrMore.optional(),
  in: oneOrMore.optional(),
  out: oneOrMore.optional(),
  protocol: oneOrMore.optional(),
  port: oneOrMore.optional(),
  'source-port': oneOrMore.optional(),
  icmp: oneOrMore.optional(),
  state: z.enum(['new', 'established', 'related', 'invalid', 'untracked', 'any']).default('new'),
});

type Entry = z.output<typeof promiseSchema>;

const fileSchema = z
  .strictObject({ promises: z.array(promiseSchema).min(1) })
  .superRefine((file, context) => {
    file.promises.forEach((entry, index) => {
      for (const { field, message } of mistakesOf(entry)) {
        context.addIssue({ code: 'custom', path: ['promises', index, field], message });
      }
    });
  });

/**
 * Reads a file of promises (docs/promises.md describes it).
 * @throws TuckpointError `traffic/promises` with file, line and field of the first mistake, and how many there are.
 */
export function readPromises(text: string, file: string): TrafficPromise[] {
  const read = readDocument(text, file, fileSchema);
  if ('value' in read) return read.value.promises.flatMap(promisesOf);
  const [first, ...rest] = read.mistakes;
  throw new TuckpointError('traffic/promises', first.message, {
    place: first.place,
    ...(rest.length === 0
      ? {}
      : {
          advice: `${rest.length} more in this file: ${rest.map((m) => `line ${m.place.line}`).join(', ')}.`,
        }),
  });
}

/** A promise without addresses is about both IP versions; ICMP types differ between them, so it becomes two. */
function promisesOf(entry: Entry): TrafficPromise[] {
  const [source, destination] = [addresses(entry.from), addresses(entry.to)];
  const families = ([4, 6] as const).filter((family) => {
    const named = [source, destination].flatMap((set) => (set === null ? [] : [set]));
    return named.every((sets) => sets[family] !== undefined);
  });
  // ICMP types have other numbers in each version, addresses are of one: without both, one promise speaks of both.
  const apart = entry.icmp !== undefined || source !== null || destination !== null;
  const groups: (4 | 6)[][] = apart ? families.map((family) => [family]) : [[4, 6]];
  return groups.map((group) => {
    const family = group[0] ?? 4;
    const flow: Match = {
      ...(source?.[family] === undefined ? {} : { source: source[family] }),
      ...(destination?.[family] === undefined ? {} : { destination: destination[family] }),
      ...(entry.in === undefined ? {} : { inInterface: { names: list(entry.in) } }),
      ...(entry.out === undefined ? {} : { outInterface: { names: list(entry.out) } }),
      ...protocolsOf(entry, family),
      ...(entry.port === undefined ? {} : { destinationPort: ports(entry.port) }),
      ...(entry['source-port'] === undefined ? {} : { sourcePort: ports(entry['source-port']) }),
      ...(entry.icmp === undefined ? {} : { icmp: icmpTypes(entry.icmp, family) }),
      ...(entry.state === 'any' ? {} : { states: [entry.state] }),
    };
    return { words: entry.says, must: entry.must, path: entry.path, flow, families: group };
  });
}

function protocolsOf(entry: Entry, family: 4 | 6): Pick<Match, 'protocol'> {
  if (entry.icmp !== undefined) return { protocol: numberSet([family === 4 ? [1, 1] : [58, 58]]) };
  if (entry.protocol === undefined) return {};
  return { protocol: numberSet(list(entry.protocol).map((word) => pairOf(protocolNumber(word) ?? 0))) };
}

function* mistakesOf(entry: Entry): Generator<{ field: string; message: string }> {
  for (const field of ['from', 'to'] as const) {
    for (const word of list(entry[field])) {
      if (parseAddresses(word) === undefined) {
        yield {
          field,
          message: `"${word}" is no address, prefix or range such as 10.4.0.0/16 or 10.4.0.1-10.4.0.9`,
        };
      }
    }
  }
  for (const word of list(entry.protocol)) {
    if (protocolNumber(word) === undefined) yield { field: 'protocol', message: `"${word}" is no protocol` };
  }
  for (const field of ['port', 'source-port'] as const) {
    for (const word of list(entry[field])) {
      if (portPair(word) === null)
        yield { field, message: `"${word}" is no port or range such as 443 or 1024-65535` };
    }
  }
  for (const word of list(entry.icmp)) {
    if (icmpTypeNumber(word, 4) === undefined && icmpTypeNumber(word, 6) === undefined) {
      yield { field: 'icmp', message: `"${word}" is no ICMP type such as echo-request` };
    }
  }
  const readable = [...list(entry.from), ...list(entry.to)].every(
    (word) => parseAddresses(word) !== undefined,
  );
  const [source, destination] = [addresses(entry.from), addresses(entry.to)];
  const meets = ([4, 6] as const).some((f) =>
    [source, destination].every((sets) => sets === null || sets[f] !== undefined),
  );
  if (readable && !meets) yield { field: 'to', message: 'from and to are of different IP versions' };
}

function list(value: string | number | readonly (string | number)[] | undefined): string[] {
  if (value === undefined) return [];
  return (Array.isArray(value) ? value : [value]).map(String);
}

/** Addresses by IP version; null: any. */
function addresses(value: Entry['from']): { 4?: AddressSet; 6?: AddressSet } | null {
  if (value === undefined) return null;
  const sets: { 4?: AddressSet; 6?: AddressSet } = {};
  for (const word of list(value)) {
    const set = parseAddresses(word);
    if (set === undefined) continue;
    const known = sets[set.family];
    sets[set.family] = known === undefined ? set : uniteAddresses(known, set);
  }
  return sets;
}

function ports(value: NonNullable<Entry['port']>): NumberSet {
  return numberSet(
    list(value).flatMap((word) => {
      const pair = portPair(word);
      return pair === null ? [] : [pair];
    }),
  );
}

function portPair(word: string): [number, number] | null {
  const match = /^(\d{1,5})(?:-(\d{1,5}))?$/.exec(word);
  if (match === null) return null;
  const [low, high] = [Number(match[1]), Number(match[2] ?? match[1])];
  return low <= high && high <= 65535 ? [low, high] : null;
}

/** Every code of the types: `type * 256` to `type * 256 + 255`. */
function icmpTypes(value: NonNullable<Entry['icmp']>, family: 4 | 6): NumberSet {
  return numberSet(
    list(value).map((word): [number, number] => {
      const type = icmpTypeNumber(word, family);
      return type === undefined ? [1, 0] : [type * 256, type * 256 + 255];
    }),
  );
}

function pairOf(value: number): [number, number] {
  return [value, value];
}
