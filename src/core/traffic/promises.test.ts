import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { numbers, parseAddresses } from '#core/address';
import { rowContains } from './contains.ts';
import { decide } from './decide.ts';
import type { Match, Policy, Rule } from './policy.ts';
import { checkPromises, type TrafficPromise } from './promises.ts';
import { smallMatch, smallPacket, smallPolicy } from './small-policies.reference.ts';

const rule = (line: number, match: Match, verdict: 'accept' | 'drop'): Rule => ({
  match,
  action: { verdict },
  origin: { file: 'quay.rules', line, text: `rule ${line}` },
});

const gullQuay: Policy = {
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
            rule(1, { source: parseAddresses('10.3.9.0/24')!, destinationPort: numbers(443) }, 'drop'),
            rule(2, { source: parseAddresses('10.3.0.0/16')!, destinationPort: numbers(443) }, 'accept'),
            rule(3, {}, 'drop'),
          ],
        },
      ],
    },
  ],
};

const promise = (must: TrafficPromise['must'], source: string, port: number): TrafficPromise => ({
  words: 'the ticket office and the booking server',
  must,
  path: 'through',
  flow: {
    source: parseAddresses(source)!,
    destination: parseAddresses('192.0.2.10')!,
    protocol: [6, 6],
    destinationPort: numbers(port),
  },
});

describe('a promise', () => {
  it('is kept when the whole flow passes', () => {
    const [check] = checkPromises(gullQuay, [promise('pass', '10.3.1.0/24', 443)]);
    expect(check).toMatchObject({ answer: 'kept', exact: true, rows: [] });
  });

  it('is broken by the part of the flow that a rule takes away, and names the rule', () => {
    const [check] = checkPromises(gullQuay, [promise('pass', '10.3.0.0/16', 443)]);
    expect(check!.answer).toBe('broken');
    expect(check!.rows).toHaveLength(1);
    expect(check!.rows[0]).toMatchObject({
      sources: parseAddresses('10.3.9.0/24'),
      ruleBefore: { origin: { line: 1 } },
    });
  });

  it('that nothing may pass is broken by what passes', () => {
    const checks = checkPromises(gullQuay, [
      promise('not pass', '10.3.9.0/24', 443),
      promise('not pass', '10.3.8.0/23', 443),
    ]);
    expect(checks.map((c) => c.answer)).toEqual(['kept', 'broken']);
    expect(checks[1]!.rows).toMatchObject([
      { sources: parseAddresses('10.3.8.0/24'), ruleBefore: { origin: { line: 2 } } },
    ]);
  });

  it('is not exact when something on its path was not read', () => {
    const unread = [
      { file: 'quay.rules', line: 9, text: 'synproxy', reason: 'not modelled', paths: ['through' as const] },
    ];
    const [check] = checkPromises({ ...gullQuay, unread }, [promise('pass', '10.3.1.0/24', 443)]);
    expect(check).toMatchObject({ answer: 'kept', exact: false, unread });
  });

  // The reference is `decide`, one packet at a time.
  it.each([4, 6] as const)('is answered for IPv%i as its packets are', (family) => {
    fc.assert(
      fc.property(
        smallPolicy(family),
        smallMatch(family),
        fc.boolean(),
        fc.array(smallPacket(family), { minLength: 40, maxLength: 40 }),
        (policy, flow, pass, packets) => {
          const must = pass ? 'pass' : 'not pass';
          const [check] = checkPromises(policy, [
            { words: '', must, path: 'through', flow, families: [family] },
          ]);
          const asks: Policy = {
            unread: [],
            pipelines: [
              {
                path: 'through',
                family,
                stages: [{ kind: 'filter', name: 'flow', rules: [rule(1, flow, 'drop')] }],
              },
            ],
          };
          for (const packet of [...packets, ...check!.rows.map((row) => row.example)]) {
            if (packet.path !== 'through') continue;
            const inFlow = decide(asks, packet).verdict === 'drop';
            const breaks = inFlow && (decide(policy, packet).verdict === 'accept') !== pass;
            expect(check!.rows.filter((row) => rowContains(row, packet))).toHaveLength(breaks ? 1 : 0);
          }
        },
      ),
      { numRuns: 150 },
    );
  });
});
