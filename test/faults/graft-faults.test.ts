import { afterAll, describe, expect, test } from 'vitest';
import type { NamedFile } from '#links/port';
import { NEW, OLD, textOf } from '../graft/memory-bench.ts';
import {
  afterwards,
  GRAFT_FAULTS,
  type GraftFaultName,
  type GraftOutcome,
  type GraftScenario,
  graftTrial,
} from './graft-trial.ts';
import { faultTable } from './table.ts';

const rulesOf = (files: readonly NamedFile[]) => textOf(files.find(({ name }) => name === 'rules.nft'));
const isNew = (files: readonly NamedFile[]) => rulesOf(files) === NEW;

const oneSlot = { kind: { slots: 1, installWrites: 'running' } } as const;
const worse = { losesWith: (files: readonly NamedFile[]) => (isNew(files) ? 40 : 0) };

interface Row extends GraftScenario {
  readonly proper: 'kept' | 'went back';
  /** Up to its first step that is not among these, a scenario is like the first one. */
  readonly asTheFirst?: readonly string[];
}
const asTheFirst = ['look', 'capture', 'planned', 'reading', 'keep'];
const untilRead = [...asTheFirst, 'arm', 'apply', 'restart', 'reach', 'look-after', 'capture-after'];

const SCENARIOS: readonly Row[] = [
  { name: 'good graft that needs a restart', device: {}, restart: true, proper: 'kept' },
  { name: 'good graft, one slot', device: oneSlot, restart: false, proper: 'kept', asTheFirst },
  {
    name: 'graft that loses packets and needed a restart',
    device: worse,
    restart: true,
    proper: 'went back',
    asTheFirst: untilRead,
  },
  {
    name: 'graft that locks the workbench out',
    device: { locksOut: isNew },
    restart: false,
    proper: 'went back',
    asTheFirst,
  },
  {
    name: 'graft that the device takes by half',
    device: { takes: takesHalf },
    restart: false,
    proper: 'went back',
    asTheFirst,
  },
];

/** The device takes the new configuration by half, and the old one whole. */
function takesHalf(files: readonly NamedFile[]): readonly NamedFile[] {
  if (!isNew(files)) return files;
  return files.map((file, i) => (i === 0 ? { ...file, bytes: file.bytes.subarray(0, 4) } : file));
}

const faults = Object.keys(GRAFT_FAULTS) as GraftFaultName[];
const printed: string[] = [];
afterAll(() => {
  if (process.env.TUCKPOINT_PRINT_TABLE === '1') process.stdout.write(`${printed.join('\n')}\n`);
});

/** Steps that compute or only write to the store: they give the device no order that could go wrong. */
const NO_ORDER = ['planned', 'read-back', 'promises', 'compare', 'back-compare', 'record'];

/** Up to here a refusal ends the run with nothing done; afterwards it leads back. */
const BEFORE = ['look', 'capture', 'reading', 'keep', 'arm', 'apply'];
/** Where the device refuses to be disarmed it keeps its word, and returns. */
const FORWARD_ORDERS = ['restart', 'reach', 'look-after', 'capture-after', 'reading-after', 'disarm'];

describe.each(SCENARIOS)('$name', (scenario) => {
  const { proper } = scenario;

  test('ends as it should when nothing goes wrong', async () => {
    const outcome = await graftTrial(scenario);
    expect(outcome.decision, outcome.reason).toBe(proper);
    expectSound(scenario, outcome, outcome.reason);
  });

  test('a fault at any step leaves the device with the one configuration or the other, whole', async () => {
    const { steps: all } = await graftTrial(scenario);
    const steps = all.filter((step) => scenario.asTheFirst?.includes(step) !== true);
    const rows: string[][] = [];
    for (const step of steps) {
      const row: string[] = [step];
      for (const fault of faults) {
        const outcome = await graftTrial(scenario, { step, fault });
        const where = `${scenario.name}: ${fault} at ${step}: ${outcome.decision}. ${outcome.reason}`;
        if (!outcome.struck) {
          expect(mayMiss(fault, step), where).toBe(true);
          row.push('no order');
          continue;
        }
        expect(endings(fault, step, proper), where).toContain(outcome.decision);
        expectSound(scenario, outcome, where);
        row.push(`${outcome.decision}${outcome.resumes > 0 ? `, resumed ${outcome.resumes}x` : ''}`);
      }
      rows.push(row);
    }
    printed.push(...faultTable(scenario.name, ['step', ...faults], rows));
  });
});

/** A step that gives no order has none to break; one that never comes to its end is not killed there. */
function mayMiss(fault: GraftFaultName, step: string): boolean {
  if (fault.startsWith('killed')) return step === 'reach';
  // The device has returned by itself before the way back could give its order.
  return NO_ORDER.includes(step) || step === 'back-apply';
}

/** How a run may end. Whoever resumes a day later may meet a device that has returned: both are told as they are. */
function endings(fault: GraftFaultName, step: string, proper: 'kept' | 'went back'): string[] {
  if (fault.endsWith('a day later')) return [proper, 'went back'];
  if (fault === 'device refuses' && BEFORE.includes(step)) return ['not done'];
  if (fault === 'device refuses' && FORWARD_ORDERS.includes(step)) return ['went back'];
  return [proper];
}

/** The device answers and holds what the decision says, whole; nothing is armed, and nothing sealed is left. */
function expectSound(scenario: GraftScenario, { device, decision, left }: GraftOutcome, where: string): void {
  expect(device.down, where).toBe(false);
  const files = device.runningSlot.configuration;
  expect(rulesOf(files), where).toBe(decision === 'kept' ? NEW : OLD);
  const system = (all: readonly NamedFile[]) => textOf(all.find(({ name }) => name === 'system.conf'));
  const wanted = decision === 'kept' ? system(afterwards(scenario)) : 'domain brackwater.example\n';
  expect(system(files), where).toBe(wanted);
  // What is still armed brings back nothing else than the device holds.
  if (device.armed !== null) expect(rulesOf(device.armed.configuration), where).toBe(rulesOf(files));
  expect(left, where).toBe(false);
}
