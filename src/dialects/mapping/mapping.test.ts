import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { formatAddresses, parseAddress } from '#core/address';
import { compareConfigurations, indexReferences } from '#core/config';
import { decide, type Packet, trafficDifference } from '#core/traffic';
import { dialectFromMapping } from './index.ts';

const page = readFileSync(new URL('../../../docs/mapping.md', import.meta.url), 'utf8');
const block = (language: string) => new RegExp(`\`\`\`${language}\n([\\s\\S]*?)\`\`\``).exec(page)![1]!;
/** The example of the user's page: what it promises is checked here. */
const GROYNE = block('groyne');
const MAPPING = block('yaml');

const dialectOf = (yaml: string) => dialectFromMapping({ name: 'groyne.yaml', text: yaml });
const groyne = dialectOf(MAPPING);
const read = (text: string, dialect = groyne) => dialect.read([{ name: 'gull-quay.conf', text }]);
const policy = (text: string, dialect = groyne) => dialect.policy(read(text, dialect))!;
const PACKET: Packet = {
  path: 'through',
  family: 4,
  inInterface: 'mole0',
  outInterface: 'wan0',
  source: parseAddress('10.2.20.10')!,
  destination: parseAddress('198.51.100.7')!,
  protocol: 6,
  sourcePort: 50000,
  destinationPort: 443,
  state: 'new',
};

describe('the example of the user page', () => {
  const configuration = read(GROYNE);
  const named = (kind: string) => configuration.objects.filter((object) => object.kind === kind);

  test('has objects of every kind, with values and lines', () => {
    expect(named('interface').map(({ name, value }) => [name, value])).toEqual([
      ['wan0', { addresses: ['203.0.113.2/29'], zone: 'outside', enabled: true }],
      ['quay0', { addresses: ['10.1.0.1/16'], zone: 'quay', enabled: true }],
      ['mole0', { addresses: ['10.2.0.1/16', '2001:db8:2::1/64'], zone: 'mole', enabled: true }],
    ]);
    expect(named('address').map(({ name, value, place }) => [name, value, place.line])).toEqual([
      ['web-quay', { addresses: ['10.1.10.20'] }, 8],
      ['kiosks', { addresses: ['10.2.20.10-10.2.20.40'] }, 9],
      ['moles', { addresses: ['10.2.0.0/16'] }, 10],
    ]);
    expect(named('service').map(({ name, value }) => [name, value])).toMatchObject([
      ['https', { protocols: ['6'], ports: ['443'] }],
      ['dns', { protocols: ['17'], ports: ['53'] }],
      ['ping', { protocols: ['1'], icmp: ['8'] }],
    ]);
    expect(named('rule').map(({ name, value }) => [name, (value as { enabled: boolean }).enabled])).toEqual([
      ['visitors to the web', true],
      ['kiosks browse', true],
      ['old tills', false],
      ['moles at ebb', true],
      ['the rest', true],
    ]);
    expect(named('route')[0]!.value).toEqual({
      destination: '0.0.0.0/0',
      gateway: '203.0.113.1',
      interface: null,
    });
    expect(named('setting').map(({ name }) => name)).toEqual(['device gull-quay', 'lamp brightness 4']);
    expect([named('nat').length, named('address-group').length, named('service-group').length]).toEqual([
      2, 1, 1,
    ]);
  });
  test('knows who uses whom', () => {
    const references = indexReferences(configuration);
    expect(references.usersOf('address web-quay').map(({ name }) => name)).toEqual(['servers']);
    expect(references.usersOf('address-group servers').map(({ name }) => name)).toEqual([
      'visitors to the web',
      'old tills',
    ]);
    expect(references.usersOf('service-group browsing').map(({ name }) => name)).toEqual(['kiosks browse']);
    expect(references.usersOf('zone mole').map(({ name }) => name)).toEqual([
      'mole0',
      'kiosks browse',
      'old tills',
      'moles at ebb',
    ]);
    expect(references.dangling).toEqual([]);
  });
  test('leaves exactly what the mapping does not explain', () => {
    expect(
      configuration.opaque.map(({ text, within, place }) => [
        text,
        within,
        GROYNE.split('\n')[place.line - 1]!.trim(),
      ]),
    ).toEqual([['tide ebb;', 'rule rules 3', 'tide ebb;']]);
  });
  test('is written back unchanged', () => {
    expect(groyne.write(configuration.files, [])[0]!.text).toBe(GROYNE);
    expect(groyne.recognises({ name: 'x', text: GROYNE })).toBeGreaterThan(0.9);
    expect(groyne.recognises({ name: 'x', text: 'table inet filter {}' })).toBe(0);
  });

  test.each<[string, Partial<Packet>, string]>([
    ['a kiosk may browse', {}, 'accept'],
    ['the last kiosk may too', { source: parseAddress('10.2.20.40')! }, 'accept'],
    ['its neighbour may not', { source: parseAddress('10.2.20.41')! }, 'drop'],
    ['a kiosk may ask for names', { protocol: 17, destinationPort: 53 }, 'accept'],
    ['but not over TCP', { destinationPort: 53 }, 'drop'],
    [
      'a visitor reaches the web by the public address',
      {
        inInterface: 'wan0',
        outInterface: 'quay0',
        source: parseAddress('192.0.2.9')!,
        destination: parseAddress('203.0.113.2')!,
      },
      'accept',
    ],
    [
      'a visitor reaches nobody else',
      {
        inInterface: 'wan0',
        outInterface: 'quay0',
        source: parseAddress('192.0.2.9')!,
        destination: parseAddress('10.1.10.30')!,
      },
      'drop',
    ],
    [
      'what is asleep lets nobody pass',
      { outInterface: 'quay0', destination: parseAddress('10.1.10.20')! },
      'drop',
    ],
    [
      'at ebb the moles reach the quay',
      {
        outInterface: 'quay0',
        destination: parseAddress('10.1.10.20')!,
        conditions: ['tide ebb (moles at ebb)'],
      },
      'accept',
    ],
    [
      'answers pass',
      {
        state: 'established',
        source: parseAddress('198.51.100.7')!,
        destination: parseAddress('10.2.20.10')!,
      },
      'accept',
    ],
    [
      'IPv6 meets only the last rule',
      { family: 6, source: parseAddress('2001:db8:2::9')!, destination: parseAddress('2001:db8:9::1')! },
      'drop',
    ],
  ])('%s', (_, packet, verdict) => {
    expect(decide(policy(GROYNE), { ...PACKET, ...packet }).verdict).toBe(verdict);
  });
  test('hides who leaves', () => {
    expect(decide(policy(GROYNE), PACKET).rewrites.map(({ kind }) => kind)).toEqual(['masquerade']);
  });
  test('says what it does not tell of', () => {
    expect(policy(GROYNE).unread.map(({ reason, paths }) => [reason, paths])).toEqual([
      ['the mapping says nothing of this part', ['through']],
      ['the mapping says nothing of traffic to and from the device', ['to', 'from']],
    ]);
  });

  test('has an exact traffic difference when an object changes', () => {
    const wider = GROYNE.replace('10.2.20.40', '10.2.20.50');
    const found = trafficDifference(policy(GROYNE), policy(wider));
    expect(found.verdict).toBe('different');
    expect(
      found.rows.map((row) => [
        row.path,
        row.family,
        row.before.verdict,
        row.after.verdict,
        formatAddresses(row.sources!),
        row.protocols,
        row.destinationPorts,
      ]),
    ).toEqual(
      expect.arrayContaining([
        ['through', 4, 'drop', 'accept', ['10.2.20.41-10.2.20.50'], [6, 6], [443, 443]],
        ['through', 4, 'drop', 'accept', ['10.2.20.41-10.2.20.50'], [17, 17], [53, 53]],
      ]),
    );
    for (const row of found.rows)
      expect([row.inInterfaces?.map(({ text }) => text), row.outInterfaces?.map(({ text }) => text)]).toEqual(
        [['mole0'], ['wan0']],
      );
    expect(
      compareConfigurations(read(GROYNE), read(wider)).changes.map((c) => [
        c.change,
        c.before?.name,
        c.usersAfter.map(({ name }) => name),
      ]),
    ).toEqual([['changed', 'kiosks', ['kiosks browse']]]);
    expect(trafficDifference(policy(GROYNE), policy(GROYNE.replaceAll('kiosks', 'booths'))).verdict).toBe(
      'equal',
    );
  });
});

describe('the same rules in other formats', () => {
  const packets: [Partial<Packet>, string][] = [
    [{}, 'accept'],
    [{ destinationPort: 80 }, 'accept'],
    [{ destinationPort: 81 }, 'drop'],
    [{ source: parseAddress('10.3.0.1')! }, 'drop'],
    [{ protocol: 17 }, 'drop'],
  ];
  const head = 'mapping: 1\nname: other\npolicy: {otherwise: drop}\n';
  test.each<[string, string, string]>([
    [
      'XML',
      `${head}format: xml\nrules: [{at: "gate/rule[@on=yes]", name: "@id", source: src, protocol: proto, ports: {take: ports, split: ","}, action: "@do"}]`,
      '<gate><rule id="a" on="yes" do="allow"><src>10.2.0.0/16</src><proto>tcp</proto><ports>80, 443</ports></rule><rule id="b" on="no" do="allow"/></gate>',
    ],
    [
      'JSON',
      `${head}format: json\nrules: [{at: "rules/*", name: id, source: src/*, service: svc, action: do}]\nservices: [{at: "services/*", name: .name, protocol: p, ports: ports/*}]`,
      '{"services": {"web": {"p": "tcp", "ports": [80, 443]}}, "rules": [{"id": "a", "src": ["10.2.0.0/16"], "svc": "web", "do": "allow"}]}',
    ],
    [
      'INI',
      `${head}format: ini\nrules: [{at: "rule {name}", source: source, service: {take: services, split: ","}, action: verdict}]`,
      '[rule a]\nsource = 10.2.0.0/16\nservices = tcp/80,tcp/443\nverdict = allow\n',
    ],
    [
      'indentation',
      `${head}format: indentation\nrules: [{at: "list {n}/{action} {protocol} {base} {free} ports {ports...}", name: "{n}", source: "{base} {free}", protocol: "{protocol}", ports: "{ports}", action: "{action}", as: a.b.c.d wildcard}]`,
      'list 7\n  allow tcp 10.2.0.0 0.0.255.255 ports 80 443\n',
    ],
  ])('decide alike (%s)', (_, yaml, text) => {
    const dialect = dialectOf(yaml);
    expect(read(text, dialect).opaque.filter(({ text: left }) => !left.includes('id="b"'))).toEqual([]);
    for (const [packet, verdict] of packets)
      expect(decide(policy(text, dialect), { ...PACKET, ...packet }).verdict).toBe(verdict);
  });
  test('leave attributes that the mapping does not mention', () => {
    const dialect = dialectOf(
      `${head}format: xml\nrules: [{at: "gate/rule", name: "@id", source: src, action: "@do", ignore: ["@tag"]}]`,
    );
    const text =
      '<gate asleep="no"><rule id="a" do="allow" tag="t" when="night"><src not="yes">10.2.0.0/16</src></rule></gate>';
    expect(read(text, dialect).opaque.map((part) => part.text)).toEqual([
      'when="night"',
      'not="yes"',
      'asleep="no"',
    ]);
    expect(decide(policy(text, dialect), PACKET).verdict).toBe('drop');
    expect(
      decide(policy(text, dialect), { ...PACKET, conditions: ['when="night" (a)', 'not="yes" (a)'] }).verdict,
    ).toBe('accept');
  });
  test('count by number where they have one', () => {
    const dialect = dialectOf(
      `${head}format: json\nrules: [{at: "*", source: src, action: do, order: n, name: n}]`,
    );
    const text = '[{"n": 20, "do": "deny"}, {"n": 10, "src": "10.2.0.0/16", "do": "allow"}]';
    expect(decide(policy(text, dialect), PACKET).verdict).toBe('accept');
  });
});

describe('what cannot be resolved', () => {
  const lines = (...more: string[]) => `${GROYNE}\n${more.join('\n')}`;
  const first = (rule: string) => GROYNE.replace('passage "visitors', `${rule}\npassage "visitors`);
  test('becomes a named condition, so that the answer is exact but for it', () => {
    const text = first('passage "x" { callers nobody-knows; calls anyone; by anything; then let; }');
    expect(decide(policy(text), { ...PACKET, destinationPort: 9 }).verdict).toBe('drop');
    expect(
      decide(policy(text), { ...PACKET, destinationPort: 9, conditions: ['source nobody-knows'] }).verdict,
    ).toBe('accept');
    expect(indexReferences(read(text)).dangling.map(({ reference }) => reference.to)).toContain(
      'address nobody-knows',
    );
  });
  test('a name that is not an address is one too', () => {
    const text = lines('known till is till.brackwater.example;').replace(
      'callers kiosks;',
      'callers kiosks till;',
    );
    expect(
      decide(policy(text), {
        ...PACKET,
        source: parseAddress('10.9.9.9')!,
        conditions: ['source till (till.brackwater.example)'],
      }).verdict,
    ).toBe('accept');
    expect(decide(policy(text), PACKET).verdict).toBe('accept');
  });
  test('a group that contains itself does not hang', () => {
    const text = lines('crew a { b; }', 'crew b { a; 10.7.0.0/16; }').replace('callers kiosks', 'callers a');
    expect(decide(policy(text), { ...PACKET, source: parseAddress('10.7.0.1')! }).verdict).toBe('accept');
    expect(decide(policy(text), { ...PACKET, conditions: ['source a (contains itself)'] }).verdict).toBe(
      'accept',
    );
  });
  test('an action that is not a word of the mapping is named', () => {
    const text = first('passage "x" { callers moles; calls anyone; by anything; then ponder; }');
    expect(read(text).opaque.map(({ why }) => why)).toContain(
      'The action ponder is not a word of the mapping.',
    );
    expect(policy(text).unread[0]).toMatchObject({
      reason: 'the action ponder is not a word of the mapping',
      families: [4],
    });
  });
  test('a zone that no interface is in, and a list that is empty, are named', () => {
    const text = first('passage "x" { in harbour; callers { } calls anyone; by anything; then let; }');
    expect(decide(policy(text), { ...PACKET, destinationPort: 9 }).verdict).toBe('drop');
    expect(
      decide(policy(text), {
        ...PACKET,
        destinationPort: 9,
        conditions: ['from harbour', 'source is empty (x)'],
      }).verdict,
    ).toBe('accept');
    expect(read(text).opaque.map(({ why }) => why)).toContain(
      'The field source is empty: anything, or nothing?',
    );
  });
  test('a name that is defined twice is named', () => {
    expect(
      read(lines('known kiosks is 10.9.0.0/16;')).opaque.map(({ why, place }) => [why, place.line]),
    ).toContainEqual([
      'The name kiosks is defined before; which one counts is not known.',
      GROYNE.split('\n').length + 1,
    ]);
  });
  test('a translation to something unknown is named', () => {
    const text = GROYNE.replace('becomes 10.1.10.20', 'becomes nobody');
    expect(policy(text).unread.map(({ reason }) => reason)).toContain(
      'what it translates to is not understood',
    );
  });
  test('not turns a list round', () => {
    const text = first('passage "x" { callers not moles; calls anyone; by anything; then let; }');
    expect(
      decide(policy(text), { ...PACKET, source: parseAddress('10.3.0.1')!, destinationPort: 9 }).verdict,
    ).toBe('accept');
    expect(decide(policy(text), { ...PACKET, destinationPort: 9 }).verdict).toBe('drop');
  });
  test.each([
    ['callers moles not kiosks', 'source moles not kiosks'],
    ['callers moles !kiosks', 'source moles !kiosks'],
    ['in quay not mole', 'from quay not mole'],
    ['in quay !mole', 'from quay !mole'],
  ])('%s may mean several things, and becomes a condition', (part, name) => {
    const callers = part.startsWith('callers') ? '' : ' callers anyone;';
    const text = first(`passage "x" { ${part};${callers} calls anyone; by anything; then let; }`);
    const packet = { ...PACKET, destinationPort: 9 };
    expect(decide(policy(text), packet).verdict).toBe('drop');
    expect(decide(policy(text), { ...packet, conditions: [name] }).verdict).toBe('accept');
  });
});
