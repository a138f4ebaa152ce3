import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { rowContains } from '../contains.ts';
import { type Decision, decide } from '../decide.ts';
import type { Packet } from '../packet.ts';
import type { Policy, Rule } from '../policy.ts';
import type { RowOutcome, TrafficRow } from '../row.ts';
import { policyPair, smallPacket, smallPolicy } from '../small-policies.reference.ts';
import { rewriteText } from '../translation.ts';
import { trafficDifference } from './difference.ts';

const outcomeText = ({ verdict, rewrites }: Decision | RowOutcome) =>
  [verdict, ...rewrites.map(rewriteText)].join(' ');

/** The packet with every condition that either policy asks about decided, so that choices of pools are tried too. */
function variants(before: Policy, after: Policy, packet: Packet): Packet[] {
  const asked = [...decide(before, packet).assumed, ...decide(after, packet).assumed];
  const all = [...new Set([...(packet.conditions ?? []), ...asked])];
  return [packet, { ...packet, conditions: all }];
}

function expectRowsToExplain(
  before: Policy,
  after: Policy,
  rows: readonly TrafficRow[],
  packet: Packet,
): void {
  const treated = { before: outcomeText(decide(before, packet)), after: outcomeText(decide(after, packet)) };
  const holding = rows.filter((row) => rowContains(row, packet));
  if (treated.before === treated.after) expect(holding).toEqual([]);
  else {
    expect(holding).toHaveLength(1);
    expect({ before: outcomeText(holding[0]!.before), after: outcomeText(holding[0]!.after) }).toEqual(
      treated,
    );
  }
}

// The reference is `decide`, which follows one packet through the rules with nothing clever.
function isAmongTranslations(rule: Rule, ...policies: Policy[]): boolean {
  const stages = policies.flatMap(({ pipelines }) => pipelines.flatMap((pipeline) => pipeline.stages));
  return stages.some((stage) => stage.kind === 'nat' && stage.rules.includes(rule));
}

describe.each([4, 6] as const)('the difference of two small IPv%i policies', (family) => {
  it('puts every packet that is treated differently in exactly one row, and no other packet', () => {
    fc.assert(
      fc.property(
        policyPair(family),
        fc.array(smallPacket(family), { minLength: 40, maxLength: 40 }),
        ([before, after], packets) => {
          const { rows, unresolved, verdict } = trafficDifference(before, after);
          expect(unresolved).toEqual([]);
          expect(verdict).toBe(rows.length > 0 ? 'different' : 'equal');
          for (const packet of packets.flatMap((p) => variants(before, after, p))) {
            expectRowsToExplain(before, after, rows, packet);
          }
          for (const row of rows) {
            expect(rowContains(row, row.example)).toBe(true);
            expectRowsToExplain(before, after, rows, row.example);
            const [then, now] = [decide(before, row.example), decide(after, row.example)];
            if (then.verdict !== now.verdict) {
              expect([row.ruleBefore, row.ruleAfter]).toEqual([then.rule, now.rule]);
            } else {
              expect([undefined, ...then.trace.map((step) => step.rule)]).toContain(row.ruleBefore);
              expect([undefined, ...now.trace.map((step) => step.rule)]).toContain(row.ruleAfter);
              // The change of translation is told by a rule that translates, on one side at least.
              const rules = [row.ruleBefore, row.ruleAfter];
              expect(
                rules.some((rule) => rule !== undefined && isAmongTranslations(rule, before, after)),
              ).toBe(true);
            }
          }
        },
      ),
      { numRuns: 300 },
    );
  });

  it('is empty for a policy and itself', () => {
    fc.assert(
      fc.property(smallPolicy(family), (policy) => {
        const copy = structuredClone(policy);
        expect(trafficDifference(policy, copy)).toMatchObject({ verdict: 'equal', rows: [] });
      }),
    );
  });
});

it('ICMP keeps its type where a translation chooses ports, so that rules about types still count', () => {
  const rule = (match: Rule['match'], action: Rule['action'], line: number): Rule => ({
    match,
    action,
    origin: { file: 'small', line, text: `rule ${line}` },
  });
  const policy = (verdict: 'accept' | 'drop'): Policy => ({
    unread: [],
    pipelines: [
      {
        path: 'through',
        family: 4,
        stages: [
          {
            kind: 'nat',
            name: 'pre',
            rules: [rule({}, { rewrite: { kind: 'dnat', ports: [8080, 8080] } }, 1)],
          },
          {
            kind: 'filter',
            name: 'forward',
            rules: [
              rule({ icmp: [8 * 256, 8 * 256 + 255] }, { verdict }, 2),
              rule({}, { verdict: 'drop' }, 3),
            ],
          },
        ],
      },
    ],
  });
  expect(trafficDifference(policy('accept'), policy('drop')).rows).toMatchObject([
    { protocols: [1, 1], icmp: [8 * 256, 8 * 256 + 255] },
  ]);
});
