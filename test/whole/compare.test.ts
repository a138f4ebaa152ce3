import { afterAll, describe, expect, test } from 'vitest';
import { dataOf, Workbench } from './workbench.ts';

/** `traffic`, `diff` and `promises check` as a person or a program calls them. The rules are worked out by hand. */

const bench = new Workbench();
afterAll(() => bench.remove());

const gate = (web: string, more = '') => `table inet gate {
  chain forward {
    type filter hook forward priority filter; policy drop;
    ct state established,related accept
    iifname "lan0" tcp dport { ${web} } accept
${more}  }
}
`;
const before = bench.file(
  'before/gate.nft',
  gate('80, 443', '    ip saddr 10.3.0.0/16 udp dport 53 accept\n'),
);
const after = bench.file('after/gate.nft', gate('80', '    ip saddr 10.3.0.0/17 udp dport 53 accept\n'));
const alike = bench.file('alike/gate.nft', gate('443, 80', '    udp dport 53 ip saddr 10.3.0.0/16 accept\n'));
const opaque = bench.file('opaque/gate.nft', `${gate('80')}include "more.nft"\n`);

interface Row {
  readonly family: number;
  readonly path: string;
  readonly before: string;
  readonly after: string;
  readonly [limit: string]: unknown;
}
interface Answer {
  readonly verdict: string;
  readonly exact: boolean;
  readonly unread: readonly { readonly file: string; readonly line: number; readonly text: string }[];
  readonly rows: readonly Row[];
}

describe('traffic', () => {
  test('with --json lists rows with their limits, deciding rules and an example packet', async () => {
    const answer = await bench.run('traffic', before, after);
    expect(answer.code).toBe(1);
    const { verdict, exact, unread, rows } = dataOf<Answer>(answer);
    expect({ verdict, exact, unread }).toEqual({ verdict: 'different', exact: true, unread: [] });
    const closed = {
      path: 'through',
      before: 'accept',
      after: 'drop',
      icmp: ['any'],
      outInterfaces: ['any'],
    };
    const states = ['new', 'invalid', 'untracked'];
    const web = {
      ...{ ...closed, states, inInterfaces: ['lan0'], sources: ['any'], destinations: ['any'] },
      ...{ protocols: ['tcp'], sourcePorts: ['any'], destinationPorts: ['443'] },
    };
    const ruleBefore = { file: before, line: 5, text: 'iifname "lan0" tcp dport { 80, 443 } accept' };
    const ruleAfter = { file: after, line: 2 };
    expect(rows).toHaveLength(3);
    for (const family of [4, 6])
      expect(rows).toContainEqual(expect.objectContaining({ ...web, family, ruleBefore }));
    expect(rows).toContainEqual(
      expect.objectContaining({
        ...{ ...closed, states, family: 4, protocols: ['udp'], destinationPorts: ['53'] },
        ...{ sources: ['10.3.128.0/17'], ruleAfter: expect.objectContaining(ruleAfter) },
        example: expect.objectContaining({ source: '10.3.128.1', protocol: 'udp', destinationPort: 53 }),
      }),
    );
  });

  test('in words says once what differs in both versions of IP', async () => {
    const { code, stdout } = await bench.say('traffic', before, after);
    expect(code).toBe(1);
    expect(stdout).toMatch(/^Packets are treated differently: 2 rows\.$/m);
    expect(stdout.match(/^accept -> drop.*/gm)?.sort()).toEqual([
      'accept -> drop, through: tcp over IPv4 and IPv6 from any on lan0 to any port 443, new, invalid, untracked',
      'accept -> drop, through: udp from 10.3.128.0/17 to any port 53, new, invalid, untracked',
    ]);
  });

  test('above twenty rows is told by the changed rules, both versions of IP at once', async () => {
    const rules = (first: number) =>
      Array.from({ length: 11 }, (_, n) => `    tcp dport ${first + 2 * n} accept\n`).join('');
    const [odd, even] = [1, 2].map((first) => bench.file(`many/${first}.nft`, gate('80', rules(first))));
    const { stdout } = await bench.say('traffic', odd!, even!);
    expect(stdout).toMatch(/^Packets are treated differently: 22 rows\.$/m);
    expect(stdout.match(/, IPv4 and IPv6, one row: the effect of /g)).toHaveLength(22);
    expect(stdout).toContain(
      `drop -> accept, through the device, IPv4 and IPv6, one row: the effect of ${even}:6:`,
    );
  });

  test('is equal with 0, and undecided with 2 where the versions differ in what was not read', async () => {
    const same = await bench.run('traffic', before, alike);
    expect([same.code, dataOf<Answer>(same).verdict]).toEqual([0, 'equal']);
    const open = await bench.run('traffic', opaque, bench.file('bare/gate.nft', gate('80')));
    expect(open.code).toBe(2);
    const { verdict, exact, unread } = dataOf<Answer>(open);
    expect({ verdict, exact }).toEqual({ verdict: 'undecided', exact: false });
    expect(unread).toEqual([expect.objectContaining({ file: opaque, line: 8, text: 'include "more.nft"' })]);
  });

  test('leaves open what is more than its effort, and says what to do', async () => {
    const little = await bench.say('traffic', before, after, '--effort', '0.000000001');
    expect(little.code).toBe(2);
    expect(little.stdout).toContain('could not be decided');
    expect(little.stdout).toContain('--effort N does N times the usual');
    const wrong = await bench.say('traffic', before, after, '--effort', 'all');
    expect([wrong.code, wrong.stderr.trimEnd().split('\n').length]).toEqual([3, 1]);
  });

  test('follows one packet through both versions', async () => {
    const packet = 'tcp 10.3.200.9:40000 on lan0 -> 192.0.2.10:443 on wan0, new';
    const answer = await bench.say('traffic', '--explain', packet, before, after);
    expect(answer.code).toBe(1);
    expect(answer.stdout).toContain(`before: accept, by ${before}:5: iifname "lan0"`);
    expect(answer.stdout).toContain(`after: drop, by ${after}:2: chain inet gate forward: policy drop`);
    const same = await bench.say('traffic', '--explain', packet.replace(':443', ':80'), before, after);
    expect(same.code).toBe(0);
  });

  test('judges the packets of a file, one a line', async () => {
    const to = { path: 'through', source: '10.3.1.1', destination: '192.0.2.10', inInterface: 'lan0' };
    const packets = [
      { ...to, protocol: 'tcp', destinationPort: 443 },
      { ...to, protocol: 'udp', destinationPort: 54 },
    ];
    const file = bench.file('packets.jsonl', packets.map((packet) => `${JSON.stringify(packet)}\n`).join(''));
    const { code, stdout } = await bench.say('traffic', '--packets', file, before);
    const judged = stdout
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line) as object);
    expect([code, judged]).toEqual([
      0,
      [
        { verdict: 'accept', rule: expect.objectContaining({ file: before, line: 5 }) },
        { verdict: 'drop', rule: expect.objectContaining({ file: before, line: 2 }) },
      ],
    ]);
    const bad = await bench.say('traffic', '--packets', bench.file('bad.jsonl', `{}\n{"source":\n`), before);
    expect(bad.code).toBe(3);
    expect(bad.stderr).toMatch(/bad\.jsonl:\d/);
  });
});

test('diff names changed rules with their places, and the traffic that changes with them', async () => {
  const answer = await bench.run('diff', before, after);
  expect(answer.code).toBe(1);
  const { objects, traffic } = dataOf<{
    readonly objects: readonly { readonly change: string; readonly kind: string }[];
    readonly traffic: Answer;
  }>(answer);
  expect(objects.map(({ change, kind }) => [change, kind])).toEqual([
    ['changed', 'rule'],
    ['changed', 'rule'],
  ]);
  expect([traffic.verdict, traffic.rows.length]).toEqual(['different', 3]);
  const raw = await bench.say('diff', before, after, '--raw');
  expect(raw.stdout).toContain('-    iifname "lan0" tcp dport { 80, 443 } accept');
  const same = await bench.say(
    'diff',
    before,
    bench.file('copy/gate.nft', gate('80, 443', '    ip saddr 10.3.0.0/16 udp dport 53 accept\n')),
  );
  expect([same.code, same.stdout.trim()]).toEqual([0, 'The same bytes: nothing differs.']);
});

test('diff shows the text of a file that differs in no object', async () => {
  const one = bench.file('sea/one.conf', 'lamp {\n  lit;\n  red;\n}\nbuoy {\n  green;\n}\n');
  const two = bench.file('sea/two.conf', 'lamp {\n  red;\n  lit;\n}\nbuoy {\n  green;\n}\n');
  const { code, stdout } = await bench.say('diff', one, two);
  expect(code).toBe(1);
  expect(stdout).toContain('No object differs');
  expect(stdout).toMatch(/^\+ {2}lit;$/m);
});

test('promises say who breaks them, and whether the planned change does', async () => {
  const file = bench.file(
    'promises.yaml',
    `promises:
  - says: The offices read the web
    must: pass
    in: lan0
    protocol: tcp
    port: [80, 443]
  - says: Nobody mails from the offices
    must: not pass
    in: lan0
    protocol: tcp
    port: 25
`,
  );
  const kept = await bench.say('promises', 'check', file, before);
  expect(kept.code).toBe(0);
  expect(kept.stdout).toContain('not checked: the way from the workbench to the device');
  const broken = await bench.say('promises', 'check', file, after, '--before', before);
  expect(broken.code).toBe(1);
  expect(broken.stdout).toContain('1 of 2 promises are broken');
  expect(broken.stdout).toContain('broken by the change (kept before): The offices read the web');
  expect(broken.stdout).toContain('drop: tcp over IPv4 and IPv6 from any on lan0 to any port 443, new');
  expect(broken.stdout).toContain(`by ${after}:2: chain inet gate forward: policy drop`);
});
