import { describe, expect, it } from 'vitest';
import {
  type Dialect,
  decisionRule,
  readAnchor,
  readDecision,
  readSelector,
  type SourceFile,
} from '#core/config';
import { codeOf } from '#core/errors';
import { chooseFrom, dialectNamed, graftPart, readCapture } from '#dialects';
import { dialectFromMapping } from '#dialects/mapping';
import { Random } from '../lab/traffic/random.ts';

/**
 * Random parts of one configuration carried into another of the same language, however collisions and places are
 * decided: what is written reads back as predicted, for `graftPart` throws `dialects/not-as-predicted` otherwise.
 */
const ADDRESSES = ['192.0.2.0/25', '192.0.2.128/25', '198.51.100.7/32', '10.1.0.0/16'];
const PORTS = [22, 53, 443, 8443];

/** Access lists (RFC 8519, in JSON by RFC 7951) that share names and differ in what they hold. */
function accessLists(random: Random): string {
  const entry = (name: string) => ({
    name,
    matches: {
      ipv4: { 'source-ipv4-network': random.pick(ADDRESSES) },
      tcp: { 'destination-port': { operator: 'eq', port: random.pick(PORTS) } },
    },
    actions: { forwarding: random.pick(['accept', 'drop', 'reject']) },
  });
  const acl = random.some(['quay', 'mole', 'slip'], 1, 3).map((name) => ({
    name,
    type: 'ipv4-acl-type',
    aces: { ace: random.some(['crew', 'tills', 'cameras', 'the rest'], 1, 4).map(entry) },
  }));
  return JSON.stringify({ 'ietf-access-control-list:acls': { acl } }, null, random.pick([1, 2, 4]));
}

const MAPPING = `mapping: 1
name: passages
format: braces
recognise: ["passage "]
words: { any: [anyone], accept: [let], drop: [turn-back] }
addresses:
  - { at: "known {name} is {value}", value: "{value}" }
groups:
  - { at: "crew {name}", members: "*/.name" }
rules:
  - { at: "passage {name}", source: callers, destination: calls, service: by, action: then }
`;

/** The same in an invented language that a mapping file teaches: addresses, groups that may hold each other, rules. */
function passages(random: Random): string {
  const known = random.some(['kiosks', 'tills', 'depot'], 2, 3);
  const crews = random.some(['all_hands', 'shore'], 1, 2);
  const members = () => random.some([...known, ...crews], 1, 3).join('; ');
  const end = () => random.pick(['anyone', ...known, ...crews]);
  const rules = random.some(['web', 'time', 'names', 'the rest'], 1, 4).map((name) => {
    const then = random.pick(['let', 'turn-back']);
    return `passage "${name}" { callers ${end()}; calls ${end()}; by tcp/${random.pick(PORTS)}; then ${then}; }`;
  });
  return `${[
    ...known.map((name) => `known ${name} is ${random.pick(ADDRESSES)};`),
    ...crews.map((name) => `crew ${name} { ${members()}; }`),
    ...rules,
  ].join(random.pick(['\n', '\n\n']))}\n`;
}

function trials(dialect: Dialect, make: (random: Random) => string, count: number, seed: number) {
  const random = new Random(seed);
  const read = (text: string) => {
    const files = [{ name: 'rules', bytes: new TextEncoder().encode(text) }];
    return readCapture(files, { only: dialect });
  };
  const tally = { written: 0, nothingToDo: 0, asked: 0, refused: 0 };
  const wrong: string[] = [];
  for (let trial = 0; trial < count; trial++) {
    const [source, target] = [make(random), make(random)];
    const [from, onto] = [read(source), read(target)];
    const { objects } = from.parts[0]!.configuration;
    const taken = random.some(objects, 1, 3).map(({ kind, name }) => `${kind}:"${name}"`);
    const wish = {
      take: random.chance(0.1) ? ['all'] : taken,
      collision: random.pick(['keep', 'take', 'rename', 'stop']),
      place: random.pick(['first', 'last', 'neighbours']),
      match: random.chance(0.5),
    };
    try {
      const [chosen] = chooseFrom(from, wish.take.map(readSelector));
      const part = onto.parts[0]!;
      const { after } = graftPart(chosen!, part, {
        decide: decisionRule([readDecision(wish.collision)]),
        anchor: readAnchor(wish.place),
        matchMay: () => wish.match,
      });
      if (after === null) tally.asked++;
      else if (same(after.files, part.files)) tally.nothingToDo++;
      else tally.written++;
    } catch (error) {
      if (codeOf(error) === 'dialects/cannot-write') tally.refused++;
      else wrong.push(`${JSON.stringify(wish)}: ${String(error)}\n${source}\nonto\n${target}`);
    }
  }
  return { tally, wrong };
}

const same = (a: readonly SourceFile[], b: readonly SourceFile[]) =>
  a.every((file, i) => file.text === b[i]!.text);

describe('random grafts read back as predicted', () => {
  it.each([
    ['access lists in JSON', dialectNamed('ietf'), accessLists],
    [
      'a language that a mapping file teaches',
      dialectFromMapping({ name: 'passages.yaml', text: MAPPING }),
      passages,
    ],
  ] as const)('in %s', (_, dialect, make) => {
    const { tally, wrong } = trials(dialect, make, Number(process.env.TUCKPOINT_GRAFTS ?? 400), 17);
    expect(wrong.slice(0, 3)).toEqual([]);
    expect(tally.written).toBeGreaterThan(100);
  });
});
