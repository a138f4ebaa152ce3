import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Family } from '#core/address';
import type { Policy } from '../policy.ts';
import { policyPair } from '../small-policies.reference.ts';
import {
  openSolver,
  packetFields,
  policyFormula,
  rowFormula,
  type Solver,
  VERDICT_CODES,
} from '../smt.reference.ts';
import { trafficDifference } from './difference.ts';

// The reference is Z3, a general-purpose theorem prover (L. de Moura, N. Bjørner, TACAS 2008): it sees the two policies as
// formulas and answers for all packets at once.
const CONDITIONS = ['mark 1', 'limit rate 5/second #1'];

const filtersOnly = (policy: Policy): Policy => ({
  ...policy,
  pipelines: policy.pipelines.map((p) => ({
    ...p,
    stages: p.stages.filter((stage) => stage.kind === 'filter'),
  })),
});

let solver: Solver;
beforeAll(async () => {
  solver = await openSolver();
});
afterAll(() => solver.close());

async function expectProved(before: Policy, after: Policy, family: Family): Promise<void> {
  const { rows } = trafficDifference(before, after);
  const through = rows.filter((row) => row.path === 'through');
  const script = `${packetFields(family, CONDITIONS)}
    ${policyFormula(before, 'through', family, 'x', CONDITIONS)}
    ${policyFormula(after, 'through', family, 'y', CONDITIONS)}`;
  const code = (verdict: keyof typeof VERDICT_CODES) => VERDICT_CODES[verdict];
  const inRows = through.map((row) => rowFormula(row, CONDITIONS));
  const wrongInside = through.map(
    (row, i) =>
      `(and ${inRows[i]} (not (and (= x ${code(row.before.verdict)}) (= y ${code(row.after.verdict)}))))`,
  );
  const twice = inRows.flatMap((a, i) => inRows.slice(i + 1).map((b) => `(and ${a} ${b})`));
  const missed = `(and (not (= x y)) (not (or false ${inRows.join(' ')})))`;
  const counterexample = `(or false ${[...wrongInside, ...twice, missed].join('\n')})`;
  expect(await solver.check(`${script} (assert ${counterexample})`)).toBe('unsat');
  // The prover also agrees on whether there is any difference: a broken formula would say unsat to everything.
  const any = await solver.check(`${script} (assert (not (= x y)))`);
  expect(any).toBe(through.length > 0 ? 'sat' : 'unsat');
}

describe('Z3', () => {
  it.each([4, 6] as const)(
    'proves for IPv%i that rows are disjoint, that each is wholly different as it says, and that nothing differs outside them',
    async (family) => {
      const pairs = fc.sample(policyPair(family), { numRuns: 24, seed: 20261125 });
      for (const [before, after] of pairs)
        await expectProved(filtersOnly(before), filtersOnly(after), family);
    },
    120_000,
  );
});
