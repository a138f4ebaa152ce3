import { TuckpointError } from '#core/errors';
import type { NamedFile } from '#links/port';
import type { Lease, RunRecord } from '#store';
import type { RunEnvironment } from './environment.ts';
import type { Decision, Listener } from './events.ts';
import type { Facts, Goal } from './facts.ts';
import { carryOut } from './machine.ts';
import { type ProcedureName, procedures } from './procedures/index.ts';
import type { RunReport } from './report/index.ts';
import { reportOf } from './report-of.ts';
import { RunContext } from './run-context.ts';

/** How often a run at work renews its lease, in milliseconds. */
const HEARTBEAT_MS = 15_000;

export interface Finished {
  readonly run: string;
  readonly decision: Decision;
  readonly reason: string;
  readonly facts: Facts;
  readonly report: RunReport;
  /** Code of the error that ended it, where a failed step did; else null. */
  readonly failure: string | null;
}

/** A person's answer to a run that stopped to ask. */
export type Word = 'keep' | 'go back';

/**
 * Begins a run on a device and carries it out. Throws `store/unknown-device`, `store/only-delivers`, `links/handbook`,
 * `store/device-busy`, `runs/unfinished` when an earlier run of the device still waits, and store errors; every failure
 * on the device is in the result instead.
 */
export async function startRun(
  environment: RunEnvironment,
  request: {
    device: string;
    procedure: ProcedureName;
    goal: Goal;
    /** The configuration to bring, for a graft; kept sealed until the run ends. */
    planned?: readonly NamedFile[];
  },
  tell: Listener,
): Promise<Finished> {
  const { store } = environment;
  const device = await store.devices.get(request.device);
  // A device without a sound handbook is refused before anything is written down.
  await environment.deviceFacts(device);
  const id = environment.newId();
  const lease = await store.leases.take(device.name, id, Date.now());
  try {
    const waiting = (await store.journal.unfinished()).find((run) => run.device === device.name);
    const onlyLooks = ['capture', 'reading', 'round'].includes(request.procedure);
    if (waiting !== undefined && !onlyLooks) throw unfinished(waiting);
    const startedAt = environment.now();
    const { procedure, goal } = request;
    await store.journal.begin(
      { id, device: device.name, procedure, goal, startedAt },
      lease,
      request.planned,
    );
    const context = new RunContext(environment, device, id, goal);
    return await underLease(environment, context, procedure, lease, tell, false);
  } finally {
    await store.leases.release(lease);
  }
}

/**
 * Goes on with a run that a kill or a stop left unfinished. `word` answers a run that stopped to ask.
 * Throws `store/unknown-run`, `store/device-busy`, `runs/ended`.
 */
export async function resumeRun(
  environment: RunEnvironment,
  id: string,
  tell: Listener,
  word?: Word,
): Promise<Finished> {
  const { store } = environment;
  const record = await store.journal.get(id);
  if (record.state === 'ended') {
    throw new TuckpointError('runs/ended', `Run ${id} has ended: ${record.decision}.`, {
      advice: '"tuckpoint runs" shows which ones are unfinished.',
    });
  }
  const device = await store.devices.get(record.device);
  const lease = await store.leases.take(device.name, id, Date.now());
  try {
    await store.journal.reopen(lease);
    const context = new RunContext(environment, device, id, record.goal as Goal);
    context.facts = record.facts as Facts;
    await heed(environment, context, lease, record, word);
    return await underLease(environment, context, record.procedure as ProcedureName, lease, tell, true);
  } finally {
    await store.leases.release(lease);
  }
}

/** Puts the person's word among the facts, in place of the decision that was left open. */
async function heed(
  environment: RunEnvironment,
  run: RunContext,
  lease: Lease,
  record: RunRecord,
  word?: Word,
) {
  if (word === undefined) return;
  const decision: Decision = word === 'keep' ? 'kept' : 'went back';
  const reason = `${record.reason ?? ''} A person decided: ${word}.`.trim();
  const line = { step: 'word', state: 'note', at: environment.now(), detail: { word } } as const;
  await environment.store.journal.write(lease, line, { decision, reason });
  run.facts = { ...run.facts, decision, reason };
}

async function underLease(
  environment: RunEnvironment,
  run: RunContext,
  name: ProcedureName,
  lease: Lease,
  tell: Listener,
  resumed: boolean,
): Promise<Finished> {
  const { store } = environment;
  const beat = setInterval(() => void store.leases.renew(lease, Date.now()).catch(() => {}), HEARTBEAT_MS);
  tell({
    kind: 'begun',
    run: run.id,
    device: run.device.name,
    procedure: name,
    at: environment.now(),
    resumed,
  });
  try {
    const { ending, failure } = await carryOut(run, procedures[name], lease, tell);
    const at = environment.now();
    tell({ kind: 'decided', ...ending, at });
    const report = await reportOf(run, procedures[name], ending, at);
    const state = ending.decision === 'stopped' ? 'stopped' : 'ended';
    await store.journal.end(lease, { state, ...ending, report, at });
    return { run: run.id, ...ending, facts: run.facts, report, failure };
  } finally {
    clearInterval(beat);
    await run.dropLink();
  }
}

function unfinished(run: RunRecord): TuckpointError {
  return new TuckpointError(
    'runs/unfinished',
    `Run ${run.id} (${run.procedure}) of ${run.device} is unfinished${run.reason === null ? '' : `: ${run.reason}`}`,
    { advice: `Go on with it first: "tuckpoint resume ${run.id}".` },
  );
}
