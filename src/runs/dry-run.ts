import { fit } from '#core/release';
import { after, booted, boots, reserveOf, type SlotState } from '#core/slots';
import type { DeviceRecord, Sighting } from '#store';
import { changedNames } from './compare-traffic.ts';
import type { RunEnvironment } from './environment.ts';
import type { Facts, Goal } from './facts.ts';
import { warningsFor } from './graft/warnings-for.ts';
import { readingIn } from './languages.ts';
import { type ProcedureName, procedures } from './procedures/index.ts';
import { RunContext } from './run-context.ts';
import type { Step } from './step.ts';

/** What a run would do, by what is known without touching the device. */
export interface Plan {
  readonly device: string;
  readonly procedure: ProcedureName;
  /** When the device was last seen; null: never, so that its slots cannot be predicted. */
  readonly seenAt: string | null;
  readonly slots: SlotState | null;
  readonly steps: readonly PlannedStep[];
  /** Steps that only follow when the run goes back. */
  readonly wayBack: readonly string[];
  /** What speaks against the run already now, or cannot be told. */
  readonly doubts: readonly string[];
}

export interface PlannedStep {
  readonly step: string;
  readonly title: string;
  /** The slots after it; null when unknown, or when it leaves them as they are. */
  readonly predicted: SlotState | null;
}

/** Says what would be done, in order, with predicted slots. Touches nothing but the store. */
export async function planRun(
  environment: RunEnvironment,
  request: { device: string; procedure: ProcedureName; goal: Goal },
): Promise<Plan> {
  const { store } = environment;
  const device = await store.devices.get(request.device);
  const { kind } = await environment.deviceFacts(device);
  const seen = await store.observations.lastSighting(device.name);
  const run = new RunContext(environment, device, 'dry-run', request.goal);
  const bringing = await knownOfRestore(environment, device, request.goal);
  const known: Facts = { ...(seen === null ? {} : { before: lookOf(seen) }), ...bringing.facts };
  const procedure = procedures[request.procedure];
  let slots = seen?.slots ?? null;
  const steps: PlannedStep[] = [];
  const wayBack: string[] = [];
  const applies = (step: Step, decision?: 'kept' | 'went back') => {
    run.facts = { ...known, ...(decision === undefined ? {} : { decision }) };
    return step.applies?.(run) ?? true;
  };
  for (const step of procedure.steps) {
    if (!applies(step) && !applies(step, 'kept')) {
      if (applies(step, 'went back')) wayBack.push(step.title);
      continue;
    }
    const operation = step.operation?.(request.goal) ?? null;
    if (slots !== null && operation !== null) {
      const then = after(slots, operation, kind);
      slots = boots(operation) ? booted(then, true) : then;
      steps.push({ step: step.name, title: step.title, predicted: slots });
    } else {
      steps.push({ step: step.name, title: step.title, predicted: null });
    }
  }
  return {
    device: device.name,
    procedure: request.procedure,
    seenAt: seen?.at ?? null,
    slots: seen?.slots ?? null,
    steps,
    wayBack:
      kind.slots === 1
        ? wayBack
        : wayBack.filter((title) => !/old release|captured at the start/.test(title)),
    doubts: [...doubtsOf(seen, request.goal, kind.slots), ...bringing.doubts],
  };
}

/** What is known beforehand of bringing a whole capture onto the device, by its own last capture. */
async function knownOfRestore(
  environment: RunEnvironment,
  device: DeviceRecord,
  goal: Goal,
): Promise<{ facts: Facts; doubts: readonly string[] }> {
  if (goal.capture === undefined) return { facts: {}, doubts: [] };
  const { archive } = environment;
  const warnings = await warningsFor(environment, device.name, goal.capture, readingIn(goal.languages));
  const doubts = warnings.map(({ sentence }) => sentence);
  const last = (await archive.list(device.name)).at(-1);
  if (last === undefined)
    return {
      facts: {},
      doubts: [...doubts, 'It was never captured: whether a restart is needed is not known.'],
    };
  if (last.digest === goal.captureDigest) doubts.push('By its last capture the device holds this already.');
  const [now, wanted] = [await archive.get(last.id), await archive.get(goal.capture)];
  const facts = await environment.deviceFacts(device);
  const restartNeeded = facts.applyNeedsRestart(changedNames(now.files, wanted.files));
  return { facts: { restartNeeded }, doubts };
}

function doubtsOf(seen: Sighting | null, goal: Goal, slotCount: number): string[] {
  if (seen === null)
    return ['The device has not been seen yet: its model, release and slots are unknown until a run looks.'];
  const doubts: string[] = [];
  if (goal.release !== undefined) {
    const verdict = fit(goal.release.sheet, { model: seen.model, release: seen.release });
    doubts.push(
      ...verdict.reasons.filter((r) => r.weighs === 'against' || r.weighs === 'open').map((r) => r.sentence),
    );
    if (slotCount === 1 && goal.oldRelease === undefined) {
      doubts.push('The device has one slot: the firmware file of the present release is needed (--old).');
    }
  }
  if (reserveOf(seen.slots) === null) doubts.push('What the running slot holds is not fully known.');
  return doubts;
}

function lookOf(seen: Sighting) {
  const { model, serial, release, slots } = seen;
  return { identity: { model, serial, release, hostname: '', boot: null, uptimeSeconds: null }, slots };
}
