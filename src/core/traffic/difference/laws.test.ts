import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type AddressSet, type NumberSet, pairsOf } from '#core/address';
import { rowContains } from '../contains.ts';
import type { Policy, Rule, Stage } from '../policy.ts';
import type { TrafficRow } from '../row.ts';
import { policyPair, smallPolicy } from '../small-policies.reference.ts';
import { rewriteText } from '../translation.ts';
import { boxesOf, mergeBoxes, type RankBox } from './boxes.ts';
import { comparePath } from './compare.ts';
import type { Names } from './decode.ts';
import { trafficDifference } from './difference.ts';
import type { Ranked } from './ranks.ts';
import { limitedFields } from './remainders.ts';
import { sweep } from './sweep.ts';

const BUDGET = { work: 1e8, nodes: 1e6, rows: 1e6 };

/** How many packets a row holds, in 2^-CONDITIONS parts; interfaces counted as the names that the policies tell apart. */
function packetsIn(row: TrafficRow, names: Names): bigint {
  const numbers = (set: NumberSet | undefined, any: number) =>
    set === undefined
      ? BigInt(any)
      : pairsOf(set).reduce((sum, [low, high]) => sum + BigInt(high - low + 1), 0n);
  const value = (words: readonly number[]) => words.reduce((sum, word) => (sum << 32n) + BigInt(word), 0n);
  const addresses = (set: AddressSet | undefined) =>
    set === undefined
      ? 1n << (row.family === 4 ? 32n : 128n)
      : set.ranges.reduce((sum, { low, high }) => sum + value(high) - value(low) + 1n, 0n);
  return [
    BigInt(row.inInterfaces?.length ?? names.inNames.atoms.length),
    BigInt(row.outInterfaces?.length ?? names.outNames.atoms.length),
    addresses(row.sources),
    addresses(row.destinations),
    numbers(row.protocols, 256),
    numbers(row.sourcePorts, 65536),
    numbers(row.destinationPorts ?? row.icmp, 65536),
    BigInt(row.states?.length ?? 5),
    1n << BigInt(CONDITIONS - row.conditions.length),
  ].reduce((product, size) => product * size, 1n);
}

const CONDITIONS = 40;
const outcome = ({ verdict, rewrites }: TrafficRow['before']) =>
  [verdict, ...rewrites.map(rewriteText)].join(' ');

const withRules = (
  policy: Policy,
  change: (rules: readonly Rule[], stage: Stage) => readonly Rule[],
): Policy => ({
  ...policy,
  pipelines: policy.pipelines.map((p) => ({
    ...p,
    stages: p.stages.map((stage) => ({ ...stage, rules: change(stage.rules, stage) })),
  })),
});

describe.each([4, 6] as const)('laws of the difference, for IPv%i', (family) => {
  it('turned round, it has the same packets with before and after exchanged', () => {
    fc.assert(
      fc.property(policyPair(family), ([a, b]) => {
        const there = trafficDifference(a, b).rows;
        const back = trafficDifference(b, a).rows;
        for (const path of ['through', 'to'] as const) {
          const names = comparePath(a, b, path, family, BUDGET)?.comparison;
          if (names === undefined) continue;
          const sums = (rows: readonly TrafficRow[], textOf: (row: TrafficRow) => string) => {
            const byOutcome = new Map<string, bigint>();
            for (const row of rows.filter((r) => r.path === path)) {
              byOutcome.set(textOf(row), (byOutcome.get(textOf(row)) ?? 0n) + packetsIn(row, names));
            }
            return byOutcome;
          };
          const forth = sums(there, (r) => `${outcome(r.before)} to ${outcome(r.after)}`);
          expect(sums(back, (r) => `${outcome(r.after)} to ${outcome(r.before)}`)).toEqual(forth);
        }
        for (const { example } of there)
          expect(back.filter((row) => rowContains(row, example))).toHaveLength(1);
        for (const { example } of back)
          expect(there.filter((row) => rowContains(row, example))).toHaveLength(1);
      }),
      { numRuns: 150 },
    );
  });

  it('a rule doubled behind itself, or a rule put where it matches nothing, changes nothing', () => {
    const never: Rule = {
      match: { protocol: [] },
      action: { verdict: 'drop' },
      origin: { file: 'small', line: 99, text: 'never' },
    };
    const shift = (rules: readonly Rule[], at: number, more: number) =>
      rules.map((r) =>
        'skip' in r.action && r.action.skip > at ? { ...r, action: { skip: r.action.skip + more } } : r,
      );
    fc.assert(
      fc.property(smallPolicy(family), fc.nat(), (policy, n) => {
        const doubled = withRules(policy, (rules) => {
          const at = n % Math.max(1, rules.length);
          const rule = rules[at];
          if (rule === undefined || 'skip' in rule.action) return rules;
          const moved = shift(rules, at, 1);
          return [...moved.slice(0, at + 1), rule, ...moved.slice(at + 1)];
        });
        const padded = withRules(policy, (rules) => [never, ...shift(rules, -1, 1)]);
        for (const same of [doubled, padded]) {
          expect(trafficDifference(policy, same)).toMatchObject({ verdict: 'equal', rows: [] });
        }
      }),
      { numRuns: 150 },
    );
  });

  it('every order of the fields finds the same amount of different traffic, whole or merged', () => {
    fc.assert(
      fc.property(policyPair(family), ([a, b]) => {
        for (const { ranked, result } of comparePath(a, b, 'through', family, BUDGET)?.clusters ?? []) {
          if ('stopped' in result) throw new Error('a small comparison must not stop');
          const fields = limitedFields(ranked.numbers);
          const volumes = [fields, [...fields].reverse(), rotated(fields, 2), rotated(fields, 4)].map(
            (order) => {
              const diagram = sweep(ranked, order, BUDGET);
              if ('stopped' in diagram) throw new Error('a small comparison must not stop');
              const boxes = boxesOf(diagram, ranked.fields, 1e6);
              const volume = volumeOf(boxes, ranked);
              expect(volumeOf(mergeBoxes(boxes, ranked.ranks), ranked)).toBe(volume);
              return volume;
            },
          );
          expect(new Set(volumes).size).toBe(1);
        }
      }),
      { numRuns: 150 },
    );
  });
});

function rotated(fields: readonly number[], by: number): number[] {
  return [...fields.slice(by), ...fields.slice(0, by)];
}

/** Cells of the rank grid. */
function volumeOf(boxes: readonly RankBox[], { ranks }: Ranked): number {
  return boxes.reduce((sum, box) => {
    const sizes = ranks.map((count, field) => {
      const set = box.ranks[field];
      if (set === undefined) return count;
      let size = 0;
      for (let i = 0; i < set.length; i += 2) size += set[i + 1]! - set[i]! + 1;
      return size;
    });
    return sum + sizes.reduce((product, size) => product * size, 1);
  }, 0);
}
