import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { numberSet, parseAddresses } from '#core/address';
import { rowContains } from './contains.ts';
import { outcomesText, rowText } from './describe.ts';
import { trafficDifference } from './difference/difference.ts';
import { gatherRows, translationParts } from './gathered-rows.ts';
import type { Policy, Rule, Stage } from './policy.ts';
import type { TrafficRow } from './row.ts';
import { policyPair, smallPacket } from './small-policies.reference.ts';

/** Lets these ports through. */
const gateway = (...ports: number[]): Policy => ({
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
            {
              match: {
                source: parseAddresses('10.3.0.0/16')!,
                protocol: [6, 6],
                destinationPort: numberSet(ports.map((port) => [port, port])),
              },
              action: { verdict: 'accept' },
              origin: { file: 'gate', line: 1, text: `let ${ports.join()}` },
            },
            { match: {}, action: { verdict: 'drop' }, origin: { file: 'gate', line: 2, text: 'drop' } },
          ],
        },
      ],
    },
  ],
});

describe('rows gathered for reading', () => {
  it('say once what is translated only where it leaves by one interface', () => {
    const { rows, changes } = trafficDifference(
      masqueraded(gateway(80), 'wan0'),
      masqueraded(gateway(80, 443), 'wan0'),
    );
    expect(rows.length).toBeGreaterThan(1);
    expect(changes).toHaveLength(1);
    const gathered = gatherRows(rows);
    expect(gathered.map(({ row }) => `${outcomesText(row)}: ${rowText(row)}`)).toEqual([
      'drop -> accept: tcp from 10.3.0.0/16 to any port 443',
    ]);
    expect(translationParts(gathered[0]!)).toEqual(['leaving on wan0, new: drop -> accept with masquerade']);
  });

  it.each([4, 6] as const)('hold the same packets, each in one row and in its part, for IPv%i', (family) => {
    let severalParts = 0;
    fc.assert(
      fc.property(
        policyPair(family),
        fc.constantFrom('lan0', 'wan0', 'lan*'),
        fc.array(smallPacket(family)),
        (pair, name, packets) => {
          const [before, after] = pair.map((policy) => masqueraded(policy, name)) as [Policy, Policy];
          for (const { rows } of trafficDifference(before, after).changes) {
            const gathered = gatherRows(rows);
            severalParts += gathered.filter(({ parts }) => parts.length > 1).length;
            for (const packet of packets) {
              const holds = (row: TrafficRow) => rowContains(row, packet);
              const own = rows.filter(holds);
              const found = gathered.filter(({ row }) => holds(row));
              expect(found).toHaveLength(own.length);
              expect(found.flatMap(({ parts }) => parts.filter(holds))).toEqual(own);
            }
          }
        },
      ),
      { numRuns: 300 },
    );
    expect(severalParts).toBeGreaterThan(0);
  });

  it('are one for both versions of IP where nothing but the version differs, and hold the same packets', () => {
    let joined = 0;
    fc.assert(
      fc.property(policyPair(4), fc.array(fc.oneof(smallPacket(4), smallPacket(6))), (pair, packets) => {
        const [before, after] = pair.map(forBothVersions) as [Policy, Policy];
        const { rows } = trafficDifference(before, after);
        const gathered = gatherRows(rows);
        joined += gathered.filter(({ families }) => families.length > 1).length;
        for (const packet of packets) {
          const own = rows.filter((row) => rowContains(row, packet));
          const found = gathered.filter(({ row, families }) =>
            families.some((family) => rowContains({ ...row, family }, packet)),
          );
          expect(found).toHaveLength(own.length);
          expect(found.flatMap(({ parts }) => parts.filter((part) => rowContains(part, packet)))).toEqual(
            own,
          );
        }
      }),
      { numRuns: 200 },
    );
    expect(joined).toBeGreaterThan(0);
  });
});

/** The same rules for both versions, without addresses. */
function forBothVersions(policy: Policy): Policy {
  const bare = ({ match: { source: _s, destination: _d, ...match }, action, origin }: Rule): Rule => ({
    match,
    action: 'rewrite' in action ? { rewrite: { kind: 'masquerade' } } : action,
    origin,
  });
  const stages = (all: readonly Stage[]) => all.map((stage) => ({ ...stage, rules: stage.rules.map(bare) }));
  return {
    ...policy,
    pipelines: policy.pipelines.flatMap((p) =>
      ([4, 6] as const).map((family) => ({ ...p, family, stages: stages(p.stages) })),
    ),
  };
}

/** What leaves by the interface for the first time is translated, as the last thing. */
function masqueraded(policy: Policy, name: string): Policy {
  const rule: Rule = {
    match: { outInterface: { names: [name] }, states: ['new'] },
    action: { rewrite: { kind: 'masquerade' } },
    origin: { file: 'gate', line: 3, text: 'masquerade' },
  };
  const stage: Stage = { kind: 'nat', name: 'last', rules: [rule] };
  return {
    ...policy,
    pipelines: policy.pipelines.map((p) => ({ ...p, stages: [...p.stages, stage] })),
  };
}
