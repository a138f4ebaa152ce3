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

const WORDS = 'words: { any: [anyone], accept: [let], drop: [turn-back] }';
const RULE = 'source: callers, destination: calls, service: by, action: then';

/** One invented language in each form that a mapping file may teach. */
const FORMS: Readonly<
  Record<string, { readonly mapping: string; readonly write: (model: Model) => string }>
> = {
  braces: {
    mapping: `addresses: [{ at: "known {name} is {value}", value: "{value}" }]
groups: [{ at: "crew {name}", members: "*/.name" }]
rules: [{ at: "passage {name}", ${RULE} }]`,
    write: ({ known, crews, rules, gap }) =>
      [
        ...known.map(([name, value]) => `known ${name} is ${value};`),
        ...crews.map(([name, members]) => `crew ${name} { ${members.join('; ')}; }`),
        ...rules.map(([name, fields]) => `passage "${name}" { ${pairs(fields, ' ').join('; ')}; }`),
      ].join(gap),
  },
  indentation: {
    mapping: `addresses: [{ at: "known {name} {value}", value: "{value}" }]
groups: [{ at: "crew {name}", members: member }]
rules: [{ at: "passage {name}", ${RULE} }]`,
    write: ({ known, crews, rules, gap }) =>
      [
        ...known.map(([name, value]) => `known ${name} ${value}`),
        ...crews.map(([name, members]) =>
          [`crew ${name}`, ...members.map((one) => `  member ${one}`)].join('\n'),
        ),
        ...rules.map(([name, fields]) =>
          [`passage "${name}"`, ...pairs(fields, ' ').map((one) => `  ${one}`)].join('\n'),
        ),
      ].join(gap),
  },
  ini: {
    mapping: `addresses: [{ at: "known {name}", value: is }]
groups: [{ at: "crew {name}", members: member }]
rules: [{ at: "passage {name}", ${RULE} }]`,
    write: ({ known, crews, rules, gap }) =>
      [
        ...known.map(([name, value]) => `[known ${name}]\nis = ${value}`),
        ...crews.map(([name, members]) =>
          [`[crew ${name}]`, ...members.map((one) => `member = ${one}`)].join('\n'),
        ),
        ...rules.map(([name, fields]) => [`[passage "${name}"]`, ...pairs(fields, ' = ')].join('\n')),
      ].join(gap),
  },
  xml: {
    mapping: `addresses: [{ at: harbour/known, name: "@name", value: "@is" }]
groups: [{ at: harbour/crew, name: "@name", members: member }]
rules: [{ at: harbour/passage, name: "@name", ${RULE} }]`,
    write: ({ known, crews, rules, gap }) =>
      [
        '<harbour>',
        ...known.map(([name, value]) => `<known name="${name}" is="${value}"/>`),
        ...crews.map(
          ([name, members]) =>
            `<crew name="${name}">${members.map((one) => `<member>${one}</member>`).join('')}</crew>`,
        ),
        ...rules.map(
          ([name, fields]) =>
            `<passage name="${name}">${Object.entries(fields)
              .map(([field, value]) => `<${field}>${value}</${field}>`)
              .join('')}</passage>`,
        ),
        '</harbour>',
      ].join(gap),
  },
  json: {
    mapping: `addresses: [{ at: "known/*", name: name, value: is }]
groups: [{ at: "crews/*", name: name, members: "members/*" }]
rules: [{ at: "passages/*", name: name, ${RULE} }]`,
    write: ({ known, crews, rules, gap }) =>
      JSON.stringify(
        {
          known: known.map(([name, is]) => ({ name, is })),
          crews: crews.map(([name, members]) => ({ name, members })),
          passages: rules.map(([name, fields]) => ({ name, ...fields })),
        },
        null,
        gap.length * 2,
      ),
  },
};

const pairs = (fields: Readonly<Record<string, string>>, between: string) =>
  Object.entries(fields).map(([field, value]) => `${field}${between}${value}`);

interface Model {
  readonly known: readonly (readonly [name: string, value: string])[];
  /** Groups may hold each other, and themselves. */
  readonly crews: readonly (readonly [name: string, members: readonly string[]])[];
  readonly rules: readonly (readonly [name: string, fields: Readonly<Record<string, string>>])[];
  /** Between one part and the next. */
  readonly gap: string;
}

function model(random: Random): Model {
  const known = random.some(['kiosks', 'tills', 'depot'], 2, 3);
  const crews = random.some(['all_hands', 'shore'], 1, 2);
  const end = () => random.pick(['anyone', ...known, ...crews]);
  return {
    known: known.map((name) => [name, random.pick(ADDRESSES)]),
    crews: crews.map((name) => [name, random.some([...known, ...crews], 1, 3)]),
    rules: random.some(['web', 'time', 'names', 'the rest'], 1, 4).map((name) => [
      name,
      {
        callers: end(),
        calls: end(),
        by: `tcp/${random.pick(PORTS)}`,
        // biome-ignore lint/suspicious/noThenProperty: a word of the invented language
        then: random.pick(['let', 'turn-back']),
      },
    ]),
    gap: random.pick(['\n', '\n\n']),
  };
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
  it('in access lists in JSON', () => expectAsPredicted(dialectNamed('ietf'), accessLists));

  it.each(Object.keys(FORMS))('in a language that a mapping file teaches, as %s', (format) => {
    const { mapping, write } = FORMS[format]!;
    const text = `mapping: 1\nname: passages\nformat: ${format}\n${WORDS}\n${mapping}\n`;
    const dialect = dialectFromMapping({ name: 'passages.yaml', text });
    expectAsPredicted(dialect, (random) => `${write(model(random))}\n`);
  });
});

function expectAsPredicted(dialect: Dialect, make: (random: Random) => string): void {
  const { tally, wrong } = trials(dialect, make, Number(process.env.TUCKPOINT_GRAFTS ?? 250), 17);
  expect(wrong.slice(0, 3)).toEqual([]);
  expect(tally.written, JSON.stringify(tally)).toBeGreaterThan(60);
}
