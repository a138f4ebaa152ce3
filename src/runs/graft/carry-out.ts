import { randomUUID } from 'node:crypto';
import { configurationDigest } from '#archive';
import { codeOf, TuckpointError } from '#core/errors';
import type { TrafficPromise } from '#core/traffic';
import { compareCaptures, readCapture } from '#dialects';
import type { NamedFile } from '#links/port';
import { compareTraffic } from '../compare-traffic.ts';
import type { RunEnvironment } from '../environment.ts';
import type { Decision, RunEvent } from '../events.ts';
import type { Accepted, Goal } from '../facts.ts';
import { type Languages, type Reading, readingIn } from '../languages.ts';
import type { RunReport } from '../report/index.ts';
import { startRun } from '../runner.ts';
import { CHANGED_SINCE_PLANNED } from '../steps/planned.ts';

/** What carrying out needs of a graft planned for one device (a `TargetPlan` holds it). */
export interface PlannedTarget {
  readonly device: string;
  /** Digest of `before`. */
  readonly plannedOn: string;
  readonly before: readonly NamedFile[];
  /** Every file of the configuration afterwards, not only those that change. */
  readonly after: readonly NamedFile[];
  readonly problems: readonly { readonly sentence: string }[];
}

export interface CarryOutOptions {
  /** What is carried, as a sentence without a full stop: `graft 3 objects from capture …`. */
  readonly title: string;
  /** This device goes first and alone; null: no device does. */
  readonly canary: string | null;
  /** How many devices at once after that; at least 1. */
  readonly width: number;
  /** Plans a device anew on what it now holds; its last capture is of this minute. */
  replan(device: string): Promise<PlannedTarget>;
  readonly tell: (event: RunEvent, device: string) => void;
  readonly promises?: readonly TrafficPromise[];
  readonly accepted?: Accepted;
  readonly acceptNoReserve?: boolean;
  /** How it was planned, and how each run reads what it finds; default: the built-in languages. */
  readonly languages?: Languages;
}

export interface TargetResult {
  readonly device: string;
  readonly decision: Decision | 'not begun';
  readonly reason: string;
  /** Null when no run was begun. */
  readonly run: string | null;
  readonly report: RunReport | null;
  /** Code of the error that ended it, where one did. */
  readonly failure: string | null;
  /** It was planned again, since the device had changed. */
  readonly plannedAnew: boolean;
}

/** What became of a graft on all its devices, in the order given. */
export interface GroupResult {
  readonly group: string;
  readonly results: readonly TargetResult[];
  /** The first device that did not end as planned; null: none. */
  readonly stoppedBy: string | null;
}

/**
 * Carries a planned graft out: the canary first, then the rest, a few at a time. The first device that does not end
 * as planned stops it: what is at work comes to its end, and no further device is begun. Each device is a run of its
 * own, which a kill leaves to `resume`; asked for again, devices that hold the graft already have nothing to do.
 * @throws TuckpointError `runs/refused` before anything is begun when a plan has problems or the canary is no target;
 *   store errors.
 */
export async function carryOut(
  environment: RunEnvironment,
  targets: readonly PlannedTarget[],
  options: CarryOutOptions,
): Promise<GroupResult> {
  checkTargets(targets, options);
  const group = randomUUID().slice(0, 8);
  // A kill leaves nothing but runs: the first one, which goes before all others, remembers whom they were for.
  const first = options.canary ?? targets[0]?.device;
  const devices = targets.map(({ device }) => device);
  const begin = (target: PlannedTarget) => {
    const graft = { title: options.title, group, ...(target.device === first && { devices }) };
    return graftOnto(environment, target, graft, options);
  };
  return { group, ...(await inTurn(targets, options, begin)) };
}

/** Works through the devices, canary first; shared with undoing. */
export async function inTurn<T extends { readonly device: string }>(
  targets: readonly T[],
  { canary, width }: Pick<CarryOutOptions, 'canary' | 'width'>,
  begin: (target: T) => Promise<TargetResult>,
): Promise<Omit<GroupResult, 'group'>> {
  const done = new Map<string, TargetResult>();
  let stoppedBy: string | null = null;
  const take = async (target: T): Promise<void> => {
    let well = false;
    try {
      const result = await begin(target);
      done.set(target.device, result);
      well = result.decision === 'kept' || result.decision === 'done';
    } finally {
      if (!well) stoppedBy ??= target.device;
    }
  };
  const first = targets.find(({ device }) => device === canary);
  if (first !== undefined) await take(first);
  const rest = targets.filter((target) => target !== first);
  const worker = async (): Promise<void> => {
    while (stoppedBy === null) {
      const next = rest.shift();
      if (next === undefined) return;
      await take(next);
    }
  };
  // A fault of the store stops the rest too, but whatever is at work comes to its end first.
  const ends = await Promise.allSettled(Array.from({ length: Math.max(1, Math.trunc(width)) }, worker));
  for (const end of ends) if (end.status === 'rejected') throw end.reason;
  const results = targets.map((target) => done.get(target.device) ?? notBegun(target.device, stoppedBy));
  return { results, stoppedBy };
}

function checkTargets(targets: readonly PlannedTarget[], { canary }: CarryOutOptions): void {
  const bad = targets.find(({ problems }) => problems.length > 0);
  if (bad !== undefined) {
    throw new TuckpointError('runs/refused', `${bad.device}: ${bad.problems[0]!.sentence}`, {
      advice: 'Nothing was begun. Settle what stands in the plan, or leave the device out.',
    });
  }
  if (canary !== null && !targets.some(({ device }) => device === canary)) {
    throw new TuckpointError('runs/refused', `${canary} is to go first and is none of the devices.`, {
      advice: 'Name one of the devices that are grafted onto.',
    });
  }
  const names = targets.map(({ device }) => device);
  const twice = names.find((name, i) => names.indexOf(name) !== i);
  if (twice !== undefined) throw new TuckpointError('runs/refused', `${twice} is named twice.`);
}

/** One device; planned anew once when it changed since, and only for the same effect. */
async function graftOnto(
  environment: RunEnvironment,
  target: PlannedTarget,
  graft: NonNullable<Goal['graft']>,
  options: CarryOutOptions,
): Promise<TargetResult> {
  const first = await oneRun(environment, goalOf(target, graft, options), target, options.tell);
  if (first.failure !== CHANGED_SINCE_PLANNED) return first;
  try {
    const again = await options.replan(target.device);
    const problem = again.problems[0]?.sentence ?? otherEffect(target, again, options.languages);
    if (problem !== null && problem !== undefined)
      return { ...first, reason: `${first.reason} Planned anew: ${problem}`, plannedAnew: true };
    const second = await oneRun(environment, goalOf(again, graft, options), again, options.tell);
    return { ...second, plannedAnew: true };
  } catch (error) {
    if (!(error instanceof TuckpointError)) throw error;
    return {
      ...first,
      reason: `${first.reason} It could not be planned anew: ${error.text}`,
      plannedAnew: true,
    };
  }
}

function goalOf(target: PlannedTarget, graft: NonNullable<Goal['graft']>, options: CarryOutOptions): Goal {
  const { promises, accepted, acceptNoReserve, languages } = options;
  return {
    graft,
    plannedOn: target.plannedOn,
    captureDigest: configurationDigest(target.after),
    ...(promises === undefined ? {} : { promises }),
    ...(accepted === undefined ? {} : { accepted }),
    ...(acceptNoReserve === true ? { acceptNoReserve } : {}),
    ...(languages === undefined ? {} : { languages }),
  };
}

/** A run on one device. What keeps it from beginning is in the result; store faults are thrown. */
export async function oneRun(
  environment: RunEnvironment,
  goal: Goal,
  target: { readonly device: string; readonly after?: readonly NamedFile[] },
  tell: CarryOutOptions['tell'],
): Promise<TargetResult> {
  const { device, after } = target;
  try {
    const planned = after === undefined ? {} : { planned: after };
    const done = await startRun(environment, { device, procedure: 'graft', goal, ...planned }, (event) =>
      tell(event, device),
    );
    const { run, decision, reason, report, failure } = done;
    return { device, run, decision, reason, report, failure, plannedAnew: false };
  } catch (error) {
    const code = codeOf(error);
    const before = ['store/device-busy', 'store/unknown-device', 'runs/unfinished'].includes(code ?? '');
    if (!(error instanceof TuckpointError) || !before) throw error;
    const failure = code ?? null;
    return {
      device,
      run: null,
      decision: 'not done',
      reason: error.text,
      report: null,
      failure,
      plannedAnew: false,
    };
  }
}

/** A person agreed to what was shown: a plan that now changes other objects or other traffic is not theirs. */
function otherEffect(shown: PlannedTarget, again: PlannedTarget, languages?: Languages): string | null {
  const reading = readingIn(languages);
  return effectOf(shown, reading) === effectOf(again, reading)
    ? null
    : 'it would now change other objects or other traffic than was shown; look at it again before it is done.';
}

function effectOf({ before, after }: PlannedTarget, reading: Reading): string {
  const { verdict, rows } = compareTraffic(before, after, reading);
  const both = compareCaptures(readCapture(before, reading), readCapture(after, reading));
  const objects = both.parts.flatMap(({ difference }) =>
    difference.changes.map(({ change, kind, before: was, after: is, fields }) => [
      change,
      kind,
      was?.name,
      is?.name,
      fields,
    ]),
  );
  return JSON.stringify([verdict, [...rows].sort(), objects.map((o) => JSON.stringify(o)).sort()]);
}

function notBegun(device: string, stoppedBy: string | null): TargetResult {
  return {
    device,
    decision: 'not begun',
    reason: `Not begun, since ${stoppedBy ?? 'another device'} did not end as planned.`,
    run: null,
    report: null,
    failure: null,
    plannedAnew: false,
  };
}
