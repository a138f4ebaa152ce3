import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  type ConfigObject,
  type ObjectKind,
  objectId,
  type TypedConfiguration,
  type Value,
} from '../typed-configuration.ts';
import {
  canonical,
  compareConfigurations,
  groupChanges,
  type ObjectChange,
  type ObjectDifference,
} from './index.ts';

interface Draft {
  readonly kind: ObjectKind;
  readonly name?: string;
  readonly list?: string;
  readonly value: Value;
  readonly comment?: string | null;
  readonly uses?: readonly string[];
}

/** A configuration from drafts; members of a list get their positions in the order given. */
function configuration(drafts: readonly Draft[], opaque: readonly string[] = []): TypedConfiguration {
  const positions = new Map<string, number>();
  const objects = drafts.map(
    ({ kind, name, list, value, comment = null, uses = [] }, index): ConfigObject => {
      const place = { file: 'f', line: index + 1, endLine: index + 1, start: 0, end: 0 };
      const position = list === undefined ? 0 : (positions.get(list) ?? 0);
      if (list !== undefined) positions.set(list, position + 1);
      const own = name ?? `${list} ${position}`;
      return {
        id: list === undefined ? objectId(kind, own) : objectId(kind, list, position),
        kind,
        name: own,
        section: 's',
        place,
        value,
        comment,
        order: list === undefined ? null : { list, position },
        references: uses.map((to) => ({ to, text: to.slice(to.indexOf(' ') + 1), place })),
      };
    },
  );
  const text = opaque.join('\n');
  let at = 0;
  const parts = opaque.map((line, index) => {
    const place = { file: 'f', line: index + 1, endLine: index + 1, start: at, end: at + line.length };
    at += line.length + 1;
    return { place, text: line, why: 'unknown', within: null, mayAffectTraffic: true };
  });
  return { dialect: 'test', files: [{ name: 'f', text }], objects, opaque: parts, syntax: null };
}

const host = (name: string, value: Value, uses: readonly string[] = []): Draft => ({
  kind: 'address',
  name,
  value,
  uses,
});
const rules = (...values: Value[]): Draft[] =>
  values.map((value) => ({ kind: 'rule', list: 'forward', value }));
const said = ({ changes }: ObjectDifference) =>
  changes.map((c) => `${c.change} ${(c.before ?? c.after)!.name}`);
const compare = (a: readonly Draft[], b: readonly Draft[]) =>
  compareConfigurations(configuration(a), configuration(b));

describe('objects with a name', () => {
  test('are added, removed and changed, with the fields that differ', () => {
    const found = compare(
      [host('quay', { ip: '10.1.0.1' }), host('mole', '10.2.0.1')],
      [host('quay', { ip: '10.1.0.2' }), host('slip', '10.3.0.1')],
    );
    expect(said(found)).toEqual(['changed quay', 'removed mole', 'added slip']);
    expect(found.changes[0]!.fields).toEqual([
      { field: 'ip', what: 'value', before: '10.1.0.1', after: '10.1.0.2' },
    ]);
  });
  test('are renamed when the content is the same under another name', () => {
    const found = compare([host('quay', '10.1.0.1')], [host('gull quay', '10.1.0.1')]);
    expect(found.changes.map((c) => [c.change, c.before?.name, c.after?.name])).toEqual([
      ['renamed', 'quay', 'gull quay'],
    ]);
  });
  test('that mention a renamed object follow it, and are told apart from those that change', () => {
    const user = (name: string, members: string[], more = 0) => ({
      ...host(
        name,
        { members, more },
        members.map((m) => `address ${m}`),
      ),
    });
    const found = compare(
      [host('quay', '10.1.0.1'), host('mole', '10.2.0.1'), user('a', ['mole', 'quay']), user('b', ['quay'])],
      [
        host('gull', '10.1.0.1'),
        host('mole', '10.2.0.1'),
        user('a', ['gull', 'mole']),
        user('b', ['gull'], 1),
      ],
    );
    expect(found.changes.map((c) => [c.change, c.before?.name, c.followsRename])).toEqual([
      ['renamed', 'quay', false],
      ['changed', 'a', true],
      ['changed', 'b', false],
    ]);
  });
  test('may stand in any order', () => {
    expect(compare([host('a', 1), host('b', 2)], [host('b', 2), host('a', 1)]).equal).toBe(true);
  });
  test('of which lists differ show only the elements that came and went', () => {
    const many = Array.from({ length: 5000 }, (_, i) => `10.0.${i >> 8}.${i & 255}`);
    const found = compare(
      [host('set', { elements: many })],
      [host('set', { elements: [...many.slice(1), '10.9.9.9'] })],
    );
    expect(found.changes[0]!.fields).toEqual([
      { field: 'elements', what: 'elements', before: ['10.0.0.0'], after: ['10.9.9.9'] },
    ]);
  });
  test('say who uses them, and which mentions now lead nowhere', () => {
    const used = ['address quay'];
    const found = compare([host('quay', 1), host('user', 2, used)], [host('user', 2, used)]);
    expect(found.changes[0]!.usersAfter.map((o) => o.name)).toEqual(['user']);
    expect(found.broken.map(({ from, reference }) => [from.name, reference.to])).toEqual([
      ['user', 'address quay'],
    ]);
  });
});

describe('rules, whose order matters', () => {
  test('that are inserted do not shift the others', () => {
    expect(said(compare(rules('a', 'b', 'c'), rules('a', 'new', 'b', 'c')))).toEqual(['added forward 1']);
  });
  test('that change places are moved, the fewest of them', () => {
    const found = compare(rules('a', 'b', 'c', 'd'), rules('b', 'c', 'd', 'a'));
    expect(found.changes.map((c) => [c.change, c.before?.value])).toEqual([['moved', 'a']]);
  });
  test('that differ in one field are changed, not removed and added', () => {
    const rule = (port: number) => ({
      source: '10.1.0.0/16',
      destination: '10.2.0.0/16',
      protocol: 'tcp',
      port,
      verdict: 'accept',
    });
    const found = compare(rules('a', rule(443), 'z'), rules('a', rule(8443), 'z'));
    expect(found.changes.map((c) => [c.change, c.fields.map((f) => f.field)])).toEqual([
      ['changed', ['port']],
    ]);
  });
  test('with a name of their own are followed by it', () => {
    const rule = (name: string, value: Value): Draft => ({ kind: 'rule', list: 'acl', name, value });
    const found = compare(
      [rule('web', 'tcp 443 accept'), rule('dns', 'udp 53 accept')],
      [rule('dns', 'udp 53 accept'), rule('web', { all: 'other' })],
    );
    expect(found.changes.map((c) => [c.change, c.before?.name, c.after?.name])).toEqual([
      ['changed', 'web', 'web'],
    ]);
    expect(found.changes[0]!.alsoMoved).toBe(true);
  });
  test('may move into another list', () => {
    const found = compare(
      [{ kind: 'rule', list: 'one', value: 'x' }],
      [{ kind: 'rule', list: 'two', value: 'x' }],
    );
    expect(found.changes.map((c) => [c.change, c.before?.order?.list, c.after?.order?.list])).toEqual([
      ['moved', 'one', 'two'],
    ]);
  });
});

describe('parts that were not understood', () => {
  test('are compared by their text', () => {
    const found = compareConfigurations(
      configuration([], ['synproxy mss 1460', 'same']),
      configuration([], ['same', 'synproxy mss 1400']),
    );
    expect(found.opaque.map((c) => [c.change, c.before?.text, c.after?.text])).toEqual([
      ['changed', 'synproxy mss 1460', 'synproxy mss 1400'],
    ]);
    expect(found.equal).toBe(false);
  });
});

test('changes are grouped by kind, rules first', () => {
  const found = compare([host('quay', 1)], [...rules('x'), host('quay', 2)]);
  expect(groupChanges(found).map((g) => [g.kind, g.section, g.changes.length])).toEqual([
    ['rule', 's', 1],
    ['address', 's', 1],
  ]);
});

/** Carries a difference out on the objects of the first configuration: what is told must be enough to get the second. */
function apply(before: TypedConfiguration, { changes }: ObjectDifference): ConfigObject[] {
  const told = new Map(changes.flatMap((c) => (c.before === null ? [] : [[c.before, c] as const])));
  const named: ConfigObject[] = [];
  const still = new Map<string, ConfigObject[]>();
  const placed = new Map<string, ConfigObject[]>();
  const put = (into: Map<string, ConfigObject[]>, object: ConfigObject) => {
    if (object.order === null) named.push(object);
    else into.set(object.order.list, [...(into.get(object.order.list) ?? []), object]);
  };
  for (const object of before.objects) {
    const change = told.get(object);
    if (change === undefined) put(still, object);
    else if (change.after !== null) put(placed, change.after);
  }
  for (const change of changes) if (change.before === null) put(placed, change.after!);
  const lists = [...new Set([...still.keys(), ...placed.keys()])].sort();
  const ordered = lists.flatMap((list) => {
    const fixed = new Map((placed.get(list) ?? []).map((object) => [object.order!.position, object]));
    const rest = (still.get(list) ?? []).sort((a, b) => a.order!.position - b.order!.position);
    return Array.from(
      { length: fixed.size + rest.length },
      (_, position) => fixed.get(position) ?? rest.shift()!,
    );
  });
  return [...named, ...ordered];
}

const drafts: fc.Arbitrary<Draft[]> = fc.array(
  fc
    .record({
      place: fc.constantFrom('named', 'forward', 'input'),
      name: fc.constantFrom('a', 'b', 'c', 'd'),
      value: fc.oneof(
        fc.constantFrom('x', 'y'),
        fc.record({ p: fc.nat(2), q: fc.subarray(['1', '2', '3']) }),
      ),
      comment: fc.constantFrom(null, null, 'note'),
      ownName: fc.boolean(),
    })
    .map(
      ({ place, name, value, comment, ownName }): Draft =>
        place === 'named'
          ? { kind: 'address', name, value, comment }
          : { kind: 'rule', list: place, value, comment, ...(ownName ? { name } : {}) },
    ),
  { maxLength: 12 },
);
const seen = (objects: readonly ConfigObject[]) => ({
  named: objects
    .filter((o) => o.order === null)
    .map((o) => canonical([o.kind, o.name, o.value, o.comment]))
    .sort(),
  lists: ['forward', 'input'].map((list) =>
    objects.filter((o) => o.order?.list === list).map((o) => canonical([o.value, o.comment])),
  ),
});
const flip = (c: ObjectChange) =>
  c.change === 'added' ? 'removed' : c.change === 'removed' ? 'added' : c.change;
const lines = (changes: readonly ObjectChange[], mirrored: boolean) =>
  changes
    .map((c) => {
      const [b, a] = mirrored ? [c.after, c.before] : [c.before, c.after];
      return JSON.stringify([
        mirrored ? flip(c) : c.change,
        b?.id,
        a?.id,
        b?.place.line,
        a?.place.line,
        c.alsoMoved,
      ]);
    })
    .sort();

describe('every difference', () => {
  test('of a configuration with itself is empty', () => {
    fc.assert(
      fc.property(drafts, (a) => {
        expect(compare(a, a).equal).toBe(true);
      }),
    );
  });
  test('read backwards is the difference the other way round', () => {
    fc.assert(
      fc.property(drafts, drafts, (a, b) => {
        expect(lines(compare(a, b).changes, false)).toEqual(lines(compare(b, a).changes, true));
      }),
      { numRuns: 500 },
    );
  });
  test('carried out on the first configuration gives the second', () => {
    fc.assert(
      fc.property(drafts, drafts, (a, b) => {
        const [before, after] = [configuration(a), configuration(b)];
        expect(seen(apply(before, compareConfigurations(before, after)))).toEqual(seen(after.objects));
      }),
      { numRuns: 500 },
    );
  });
  test('mentions each object once', () => {
    fc.assert(
      fc.property(drafts, drafts, (a, b) => {
        const { changes } = compare(a, b);
        for (const side of ['before', 'after'] as const) {
          const named = changes.flatMap((c) => c[side] ?? []);
          expect(new Set(named).size).toBe(named.length);
        }
      }),
    );
  });
});
