import { TuckpointError } from '#core/errors';
import type { LinkCall, MemoryDevice } from '#links/memory';
import { type Accepted, type Finished, type Goal, type RunEvent, resumeRun, startRun } from '#runs';
import { type BenchDevice, configuration, MemoryBench, NEW } from '../graft/memory-bench.ts';
import { FAULTS, type FaultName, killing } from './trial.ts';

/** The faults of an update, and kills after which nobody resumes for a day: a device that was to return has then. */
export const GRAFT_FAULTS = {
  ...FAULTS,
  'killed before it acts, resumed a day later': { kill: 'after started' },
  'killed after it took effect, resumed a day later': { kill: 'before done' },
} as const;
export type GraftFaultName = FaultName | keyof typeof GRAFT_FAULTS;

/** The call of the link that a step acts by. */
const ACTS: Readonly<Record<string, LinkCall>> = {
  look: 'identify',
  capture: 'capture',
  reading: 'reading',
  keep: 'keep',
  arm: 'armReturn',
  apply: 'apply',
  restart: 'restart',
  reach: 'identify',
  'look-after': 'identify',
  'capture-after': 'capture',
  'reading-after': 'reading',
  disarm: 'disarmReturn',
  'back-apply': 'apply',
  'back-disarm': 'disarmReturn',
  'back-restart': 'restart',
  'back-look': 'identify',
  'back-capture': 'capture',
  'back-reading': 'reading',
};

export interface GraftScenario {
  readonly name: string;
  readonly device: BenchDevice;
  /** Also a file whose change needs a restart. */
  readonly restart: boolean;
  readonly accepted?: Accepted;
}

export const afterwards = ({ restart }: GraftScenario) =>
  configuration(NEW, restart ? 'domain harbour.brackwater.example\n' : undefined);

export interface GraftOutcome {
  readonly decision: string;
  readonly reason: string;
  readonly resumes: number;
  /** Did the fault happen? A step that gives the device no order has none to break. */
  readonly struck: boolean;
  readonly device: MemoryDevice;
  readonly steps: readonly string[];
  /** Sealed files that are left in the store. */
  readonly left: boolean;
}

/** One graft on a device in memory, with a real store and archive, and one fault at one step; resumed until it ends. */
export async function graftTrial(
  scenario: GraftScenario,
  at?: { step: string; fault: GraftFaultName },
): Promise<GraftOutcome> {
  const bench = await MemoryBench.open(scenario.device);
  try {
    return await tryOn(bench, scenario, at);
  } finally {
    await bench.close();
  }
}

async function tryOn(
  bench: MemoryBench,
  scenario: GraftScenario,
  at?: { step: string; fault: GraftFaultName },
): Promise<GraftOutcome> {
  const device = bench.device();
  const fault = at === undefined ? null : GRAFT_FAULTS[at.fault];
  const steps: string[] = [];
  let struck = false;
  const tell = (event: RunEvent) => {
    if (event.kind !== 'step' || event.state !== 'started') return;
    steps.push(event.step);
    if (struck || event.step !== at?.step || fault === null || !('link' in fault)) return;
    const call = ACTS[event.step];
    if (call === undefined) return;
    struck = true;
    device.faults.add({ call, when: fault.when, what: fault.link });
  };
  const target = bench.planned(afterwards(scenario));
  const goal: Goal = {
    graft: { title: 'graft one rule', group: 'g1' },
    plannedOn: target.plannedOn,
    ...(scenario.accepted === undefined ? {} : { accepted: scenario.accepted }),
  };
  const { environment } = bench;
  const store = fault !== null && 'kill' in fault ? killing(bench.store, at!.step, fault.kill) : bench.store;
  const request = { device: target.device, procedure: 'graft', goal, planned: target.after } as const;
  let killed = false;
  let finished: Finished | null = null;
  try {
    finished = await startRun({ ...environment, store }, request, tell);
  } catch (error) {
    if (!(error instanceof TuckpointError) || error.code !== 'store/killed') throw error;
    killed = true;
    if (at!.fault.endsWith('a day later')) bench.clock += 86_400_000;
  }
  struck &&= device.faults.waiting === 0;
  let resumes = 0;
  while ((finished === null || finished.decision === 'stopped') && resumes < 3) {
    resumes++;
    device.faults.clear();
    finished = await resumeRun(environment, 'r1', tell);
  }
  const left = (await bench.store.journal.plannedFiles('r1')) !== null;
  const { decision = 'never ended', reason = '' } = finished ?? {};
  return { decision, reason, resumes, struck: struck || killed, device, steps: [...new Set(steps)], left };
}
