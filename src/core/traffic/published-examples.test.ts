import { describe, expect, it } from 'vitest';
import { type NumberSet, numbers, parseAddresses } from '#core/address';
import { decide } from './decide.ts';
import { trafficDifference } from './difference/difference.ts';
import { withoutRule } from './findings/removal.ts';
import { reviewPolicy } from './findings/review.ts';
import type { Packet } from './packet.ts';
import type { Match, Policy, Rule } from './policy.ts';

const policyOf = (rules: readonly { match: Match; passes: boolean }[], text: string): Policy => ({
  unread: [],
  pipelines: [
    {
      path: 'through',
      family: 4,
      stages: [
        {
          kind: 'filter',
          name: 'forward',
          rules: rules.map(
            ({ match, passes }, i): Rule => ({
              match,
              action: { verdict: passes ? 'accept' : 'drop' },
              origin: { file: text, line: i + 1, text: `rule ${i + 1}` },
            }),
          ),
        },
      ],
    },
  ],
});

const packetOf = (fields: Partial<Packet>): Packet => ({
  path: 'through',
  family: 4,
  inInterface: 'if0',
  outInterface: 'if1',
  source: [0],
  destination: [0],
  protocol: 6,
  sourcePort: 1,
  destinationPort: 1,
  state: 'new',
  ...fields,
});

const lines = (policy: Policy, ...kinds: string[]) =>
  reviewPolicy(policy)
    .findings.filter((f) => kinds.includes(f.kind))
    .map((f) => f.rule.origin.line)
    .sort((a, b) => a - b);

// F. Cuppens, N. Cuppens-Boulahia, J. Garcia-Alfaro, "Misconfiguration Management of Network Security Components",
// arXiv:1912.07283, section 1, first table: rule 4 is shadowed by the union of rules that each do not contain it.
describe('the table of rules shadowed by a union', () => {
  const table: [source: [number, number], destination: [number, number], passes: boolean][] = [
    [[1, 30], [20, 45], false],
    [[20, 60], [25, 35], true],
    [[40, 70], [20, 45], true],
    [[15, 45], [25, 30], false],
    [[25, 45], [20, 40], true],
  ];
  const octets = (net: string, [low, high]: [number, number]) =>
    parseAddresses(`${net}.${low}-${net}.${high}`)!;
  const policy = policyOf(
    table.map(([s, d, passes]) => ({
      match: { source: octets('10.0.1', s), destination: octets('10.0.2', d) },
      passes,
    })),
    'cuppens',
  );

  it('has exactly one rule that is never reached: the fourth, because of the first and the second', () => {
    const never = reviewPolicy(policy).findings.filter((f) => f.kind === 'never reached');
    expect(never.map((f) => f.rule.origin.line)).toEqual([4]);
    expect(never[0]!.because.map((rule) => rule.origin.line)).toEqual([1, 2]);
  });

  it('has as many effective cells per rule as counting finds', () => {
    const cells = [0, 0, 0, 0, 0];
    for (let s = 1; s <= 255; s++) {
      for (let d = 1; d <= 255; d++) {
        const { rule } = decide(
          policy,
          packetOf({ source: [0x0a00_0100 + s], destination: [0x0a00_0200 + d] }),
        );
        if (rule !== undefined) cells[rule.origin.line - 1]! += 1;
      }
    }
    // Computed from the table by enumeration over the octets 1 to 255, first match wins, without this code.
    expect(cells).toEqual([780, 330, 575, 0, 90]);
  });
});

// M. G. Gouda, CS 386S Spring 2009, Quiz 9 and 10 with printed solution (cs.utexas.edu): one firewall decision diagram
// over F1, F2 in [0, 9] and the rule lists that its markings give. All are equivalent.
describe('the quiz on decision diagrams', () => {
  const field = (...pairs: [number, number][]): NumberSet => pairs.flat();
  // The two fields are laid on two port fields; values above 9 are refused by every list alike.
  const list = (rules: [NumberSet, NumberSet, boolean][]) =>
    policyOf(
      [
        ...rules.map(([f1, f2, passes]) => ({
          match: { protocol: [6, 6], sourcePort: f1, destinationPort: f2 },
          passes,
        })),
        { match: {}, passes: false },
      ],
      'gouda',
    );
  const diagram = list([
    [field([1, 4]), field([3, 9]), false],
    [field([1, 4]), field([0, 2]), true],
    [field([0, 0], [5, 9]), field([0, 9]), false],
  ]);
  const threeRules = list([
    [field([1, 4]), field([3, 9]), false],
    [field([1, 4]), field([0, 9]), true],
    [field([0, 9]), field([0, 9]), false],
  ]);
  const beforeRemoval = list([
    [field([1, 4]), field([0, 2]), true],
    [field([1, 4]), field([0, 9]), false],
    [field([0, 9]), field([0, 9]), false],
  ]);
  const twoRules = list([
    [field([1, 4]), field([0, 2]), true],
    [field([0, 9]), field([0, 9]), false],
  ]);

  it('gives four lists that are proved equal', () => {
    for (const other of [threeRules, beforeRemoval, twoRules]) {
      expect(trafficDifference(diagram, other)).toMatchObject({ verdict: 'equal', exact: true });
    }
  });

  it('lets twelve points pass', () => {
    let passing = 0;
    for (let f1 = 0; f1 <= 9; f1++) {
      for (let f2 = 0; f2 <= 9; f2++) {
        if (decide(twoRules, packetOf({ sourcePort: f1, destinationPort: f2 })).verdict === 'accept')
          passing++;
      }
    }
    expect(passing).toBe(12);
  });

  it('calls rule 2 redundant in the second marking before removal', () => {
    expect(lines(beforeRemoval, 'redundant')).toContain(2);
    expect(
      trafficDifference(beforeRemoval, withoutRule(beforeRemoval, policyRule(beforeRemoval, 2))).verdict,
    ).toBe('equal');
  });

  it('calls neither of the first two rules of the three-rule marking redundant', () => {
    expect(lines(threeRules, 'redundant', 'never reached').filter((line) => line < 3)).toEqual([]);
  });
});

function policyRule(policy: Policy, line: number): Rule {
  return policy.pipelines[0]!.stages[0]!.rules.find((rule) => rule.origin.line === line)!;
}

// A. X. Liu, M. G. Gouda, "Diverse Firewall Design", IEEE TPDS 19(9), 2008, running example. From memory: the paper itself was
// not at hand; the three discrepancies were recomputed by enumeration.
describe('two teams designing one firewall (from memory)', () => {
  const outside = { inInterface: { names: ['if0'] } };
  const malicious = parseAddresses('224.168.0.0/16')!;
  const mail = parseAddresses('192.168.0.1')!;
  const smtp = { protocol: [6, 6], destinationPort: numbers(25) };
  const teamA = policyOf(
    [
      { match: { ...outside, destination: mail, ...smtp }, passes: true },
      { match: { ...outside, source: malicious }, passes: false },
      { match: {}, passes: true },
    ],
    'team A',
  );
  const teamB = policyOf(
    [
      { match: { ...outside, source: malicious }, passes: false },
      { match: { ...outside, destination: mail, ...smtp }, passes: true },
      { match: { ...outside, destination: mail }, passes: false },
      { match: {}, passes: true },
    ],
    'team B',
  );
  const { rows } = trafficDifference(teamA, teamB);
  const at = (fields: Partial<Packet>) => {
    const packet = packetOf({ inInterface: 'if0', destination: mail.ranges[0]!.low, ...fields });
    return [decide(teamA, packet).verdict, decide(teamB, packet).verdict];
  };

  it('differ only by what team A accepts and team B discards, all of it to the mail server from outside', () => {
    expect(rows.length).toBeGreaterThan(0);
    for (const row of rows) {
      expect([row.before.verdict, row.after.verdict]).toEqual(['accept', 'drop']);
      expect(row.destinations).toEqual(mail);
      expect(row.inInterfaces?.map((term) => term.text)).toEqual(['if0']);
    }
  });

  it('differ in the three known regions and agree beside them', () => {
    const bad = malicious.ranges[0]!.low;
    expect(at({ source: bad, destinationPort: 25 })).toEqual(['accept', 'drop']);
    expect(at({ destinationPort: 25, protocol: 17 })).toEqual(['accept', 'drop']);
    expect(at({ destinationPort: 26 })).toEqual(['accept', 'drop']);
    expect(at({ destinationPort: 25 })).toEqual(['accept', 'accept']);
    expect(at({ source: bad, destinationPort: 26 })).toEqual(['drop', 'drop']);
  });
});

// E. Al-Shaer, H. Hamed, "Firewall policy advisor for anomaly discovery and rule editing", IM 2003, and INFOCOM 2004. From
// memory: the table of twelve rules was not at hand in print.
describe('the policy with the classic anomalies (from memory)', () => {
  const any = undefined;
  const rows: [
    protocol: number,
    source: string | undefined,
    destination: string | undefined,
    port: number | undefined,
    passes: boolean,
  ][] = [
    [6, '140.192.37.20', any, 80, false],
    [6, '140.192.37.0/24', any, 80, true],
    [6, any, '161.120.33.40', 80, true],
    [6, '140.192.37.0/24', '161.120.33.40', 80, false],
    [6, '140.192.37.30', any, 21, false],
    [6, '140.192.37.0/24', any, 21, true],
    [6, '140.192.37.0/24', '161.120.33.40', 21, true],
    [6, any, any, any, false],
    [17, '140.192.37.0/24', '161.120.33.40', 53, true],
    [17, any, '161.120.33.40', 53, true],
    [17, '140.192.38.0/24', '161.120.35.0/24', any, true],
    [17, any, any, any, false],
  ];
  const policy = policyOf(
    rows.map(([protocol, source, destination, port, passes]) => ({
      match: {
        protocol: numbers(protocol),
        ...(source !== undefined && { source: parseAddresses(source)! }),
        ...(destination !== undefined && { destination: parseAddresses(destination)! }),
        ...(port !== undefined && { destinationPort: numbers(port) }),
      },
      passes,
    })),
    'classic',
  );

  it('has rule 4 shadowed and rule 7 behind rule 6: neither is ever reached', () => {
    expect(lines(policy, 'never reached')).toEqual([4, 7]);
  });

  it('has rule 9 redundant to rule 10', () => {
    const redundant = reviewPolicy(policy).findings.filter((f) => f.kind === 'redundant');
    expect(redundant.map((f) => f.rule.origin.line)).toEqual([9]);
    expect(redundant[0]!.because.map((rule) => rule.origin.line)).toEqual([10]);
  });

  it('has the generalisations: rules 2, 6, 8 and 12 contain earlier rules of the opposite verdict', () => {
    const widening = reviewPolicy(policy).findings.filter((f) => f.kind === 'widening');
    expect(
      Object.fromEntries(widening.map((f) => [f.rule.origin.line, f.of.map((r) => r.origin.line)])),
    ).toEqual({
      2: [1],
      6: [5],
      8: [2, 3, 6, 7],
      12: [9, 10, 11],
    });
  });

  it('has the correlations: rule 3 crosses rule 1, rule 7 crosses rule 5', () => {
    const overlap = reviewPolicy(policy).findings.filter((f) => f.kind === 'overlap');
    const pairs = overlap.flatMap((f) => f.with.map((other) => [other.origin.line, f.rule.origin.line]));
    expect(pairs).toContainEqual([1, 3]);
    expect(pairs).toContainEqual([5, 7]);
  });
});
