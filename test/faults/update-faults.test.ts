import { afterAll, describe, expect, test } from 'vitest';
import { faultTable } from './table.ts';
import { FAULTS, type FaultName, type Outcome, type Scenario, trial } from './trial.ts';

const inPlace = { slots: 2, installWrites: 'running' } as const;
const intoSpare = { slots: 2, installWrites: 'spare', spareConfiguration: 'own' } as const;
const oneSlot = { slots: 1, installWrites: 'running' } as const;

/** Loses packets and rewrites the configuration, so that the way back has something to restore in every kind. */
const faulty: Scenario['release'] = {
  lossPercent: 30,
  rewrites: () => [{ name: 'policy.txt', bytes: new TextEncoder().encode('permit everything\n') }],
};

const SCENARIOS: readonly Scenario[] = [
  { name: 'good release, installed in place', kind: inPlace, release: {} },
  { name: 'faulty release, installed in place', kind: inPlace, release: faulty },
  { name: 'good release, installed into the spare', kind: intoSpare, release: {} },
  { name: 'faulty release, installed into the spare', kind: intoSpare, release: faulty },
  { name: 'good release, one slot', kind: oneSlot, release: {} },
  { name: 'faulty release, one slot', kind: oneSlot, release: faulty },
];

const faults = Object.keys(FAULTS) as FaultName[];
const printed: string[] = [];
afterAll(() => {
  if (process.env.TUCKPOINT_PRINT_TABLE === '1') process.stdout.write(`${printed.join('\n')}\n`);
});

/** Steps that compute or only write to the store: they give the device no order that could go wrong. */
const NO_ORDER = ['fit', 'compare', 'back-compare', 'record'];

/** Before the install, a refusal ends the run with nothing done; no other fault keeps it from its proper end. */
const BEFORE_INSTALL = ['look', 'capture', 'reading', 'keep', 'transfer', 'transfer-old', 'install'];

describe.each(SCENARIOS)('$name', (scenario) => {
  const proper = scenario.release.lossPercent === undefined ? 'kept' : 'went back';

  test('ends as it should when nothing goes wrong', async () => {
    expect((await trial(scenario)).decision).toBe(proper);
  });

  test('a fault at any step leaves a device that runs, and the run comes to its proper end', async () => {
    const { steps } = await trial(scenario);
    const rows: string[][] = [];
    for (const step of steps) {
      const row: string[] = [step];
      for (const fault of faults) {
        const outcome = await trial(scenario, { step, fault });
        const where = `${scenario.name}: ${fault} at ${step}: ${outcome.decision}. ${outcome.reason}`;
        const linked = !fault.startsWith('killed');
        expect(outcome.struck, where).toBe(!(linked && NO_ORDER.includes(step)));
        if (!outcome.struck) {
          row.push('no order');
          continue;
        }
        const refusedEarly = fault === 'device refuses' && BEFORE_INSTALL.includes(step);
        expect(outcome.decision, where).toBe(refusedEarly ? 'not done' : proper);
        expectSound(outcome, where);
        row.push(`${outcome.decision}${outcome.resumes > 0 ? `, resumed ${outcome.resumes}x` : ''}`);
      }
      rows.push(row);
    }
    printed.push(...faultTable(scenario.name, ['step', ...faults], rows));
  });
});

/** The device answers, runs a pair known to be well, and nothing that took effect was done twice. */
function expectSound({ device, effects, decision }: Outcome, where: string): void {
  expect(device.down, where).toBe(false);
  expect(device.runningRelease, where).toBe(decision === 'kept' ? '4.3.0' : '4.2.0');
  expect(device.runningSlot.release, where).toBe(device.runningRelease);
  expect(Buffer.from(device.runningSlot.configuration[0]?.bytes ?? []).toString(), where).toBe(
    'permit harbour control\n',
  );
  expect(effects.keep ?? 0, where).toBeLessThanOrEqual(1);
  const installs = device.kind.slots === 1 && decision === 'went back' ? 2 : 1;
  expect(effects.install ?? 0, where).toBeLessThanOrEqual(installs);
}
