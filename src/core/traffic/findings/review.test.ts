import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parseAddresses } from '#core/address';
import { decide } from '../decide.ts';
import type { Action, Policy, Rule } from '../policy.ts';
import { smallPacket, smallPolicy } from '../small-policies.reference.ts';
import { specialBlocks } from '../special-purpose.ts';
import { rewriteText } from '../translation.ts';
import { placeOf } from './finding.ts';
import { withoutRule } from './removal.ts';
import { reviewPolicy } from './review.ts';

const treatment = (policy: Policy, packet: Parameters<typeof decide>[1]) => {
  const { verdict, rewrites } = decide(policy, packet);
  return [verdict, ...rewrites.map(rewriteText)].join(' ');
};

/** Rules of the small policies get a line of their own each, so that each is one rule of the material. */
function numbered(policy: Policy): Policy {
  let line = 0;
  return {
    ...policy,
    pipelines: policy.pipelines.map((pipeline) => ({
      ...pipeline,
      stages: pipeline.stages.map((stage) => ({
        ...stage,
        rules: stage.rules.map((rule) => ({
          ...rule,
          origin: { file: 'small', line: ++line, text: 'rule' },
        })),
      })),
    })),
  };
}

// The reference is `decide`, one packet at a time.
describe.each([4, 6] as const)('what is found in one policy, for IPv%i', (family) => {
  it('a rule never reached matches no packet on its way; a redundant one may go without any change', () => {
    fc.assert(
      fc.property(
        smallPolicy(family).map(numbered),
        fc.array(smallPacket(family), { minLength: 60, maxLength: 60 }),
        (policy, packets) => {
          const { findings, unexamined } = reviewPolicy(policy);
          expect(unexamined).toEqual([]);
          const never = new Set(
            findings.filter((f) => /never|nothing/.test(f.kind)).map((f) => placeOf(f.rule)),
          );
          const idle = findings
            .filter((f) => f.kind === 'never reached' || f.kind === 'redundant')
            .map((f) => f.rule);
          for (const packet of packets) {
            for (const { rule } of decide(policy, packet).trace) expect(never.has(placeOf(rule))).toBe(false);
            for (const rule of idle.filter((r) => !('skip' in r.action))) {
              expect(treatment(withoutRule(policy, rule), packet)).toBe(treatment(policy, packet));
            }
          }
        },
      ),
      { numRuns: 60 },
    );
  });
});

it('a rule of the device itself is reached by forwarded packets that a redirect hands to it', () => {
  const rule = (line: number, action: Action): Rule => ({
    match: {},
    action,
    origin: { file: 'small', line, text: 'rule' },
  });
  const policy: Policy = {
    unread: [],
    pipelines: [
      {
        path: 'through',
        family: 4,
        stages: [{ kind: 'nat', name: 'prerouting', rules: [rule(1, { rewrite: { kind: 'redirect' } })] }],
      },
      {
        path: 'to',
        family: 4,
        stages: [
          // Packets to the device end here; redirected ones enter behind this stage.
          { kind: 'nat', name: 'prerouting', rules: [rule(2, { verdict: 'reject' })] },
          {
            kind: 'filter',
            name: 'input',
            rules: [rule(3, { verdict: 'drop' }), rule(4, { verdict: 'accept' })],
          },
        ],
      },
    ],
  };
  const lines = reviewPolicy(policy)
    .findings.filter(({ kind }) => kind === 'never reached' || kind === 'redundant')
    .map((finding) => finding.rule.origin.line);
  expect(lines).not.toContain(3);
});

describe('special-purpose addresses', () => {
  it('hold the private blocks of RFC 1918 section 3 and the documentation blocks of RFC 5737 section 3', () => {
    const texts = specialBlocks(4).map((block) => block.text);
    for (const text of [
      '10.0.0.0/8',
      '172.16.0.0/12',
      '192.168.0.0/16',
      '192.0.2.0/24',
      '198.51.100.0/24',
      '203.0.113.0/24',
    ]) {
      expect(texts).toContain(text);
    }
    // RFC 6890 section 2.2: 16 IPv4 tables and 13 IPv6 tables.
    expect([specialBlocks(4).length, specialBlocks(6).length]).toEqual([16, 13]);
  });

  it('are found where a rule lets them in from outside, unless an earlier rule stops them', () => {
    const rule = (line: number, match: object, verdict: 'accept' | 'drop') => ({
      match,
      action: { verdict },
      origin: { file: 'head.rules', line, text: `rule ${line}` },
    });
    const policy = (guarded: boolean): Policy => ({
      unread: [],
      pipelines: [
        {
          path: 'through',
          family: 4,
          stages: [
            {
              kind: 'filter',
              name: 'forward',
              rules: [
                ...(guarded ? [rule(1, { source: parseAddresses('10.0.0.0/8')! }, 'drop')] : []),
                rule(2, { destination: parseAddresses('203.0.113.80')!, protocol: [6, 6] }, 'accept'),
                rule(3, {}, 'drop'),
              ],
            },
          ],
        },
      ],
    });
    const blocks = (guarded: boolean) =>
      reviewPolicy(policy(guarded), { outside: ['wan0'] }).findings.flatMap((f) =>
        f.kind === 'special source' ? f.blocks.map((b) => `${f.rule.origin.line} ${b.text}`) : [],
      );
    expect(blocks(false)).toContain('2 10.0.0.0/8');
    expect(blocks(true)).not.toContain('2 10.0.0.0/8');
    expect(blocks(true)).toContain('2 192.168.0.0/16');
  });
});

describe('overlaps', () => {
  it('are not told of rules about known connections alone', () => {
    const rule = (line: number, match: object, verdict: 'accept' | 'drop') => ({
      match,
      action: { verdict },
      origin: { file: 'head.rules', line, text: `rule ${line}` },
    });
    const overlapsWith = (states: string[]) => {
      const rules = [
        rule(1, { states }, 'accept'),
        rule(2, { source: parseAddresses('10.3.0.0/16')! }, 'drop'),
        rule(3, { destination: parseAddresses('192.0.2.10')! }, 'accept'),
      ];
      const stages = [{ kind: 'filter' as const, name: 'forward', rules }];
      const { findings } = reviewPolicy({ unread: [], pipelines: [{ path: 'through', family: 4, stages }] });
      return findings.flatMap((f) => (f.kind === 'overlap' ? f.with.map((r) => r.origin.line) : []));
    };
    expect(overlapsWith(['established', 'related'])).toEqual([2]);
    expect(overlapsWith(['new', 'established'])).toEqual([1, 2]);
  });
});
