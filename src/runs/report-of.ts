import { codeOf } from '#core/errors';
import { after as afterOperation, booted, boots, type DeviceKind, type SlotState } from '#core/slots';
import type { JournalEntry } from '#store';
import {
  type ConfigurationSection,
  configurationChanges,
  type ReadBackSection,
  type ReadingsSection,
  type ReportStep,
  type RunReport,
} from './report/index.ts';
import type { RunContext } from './run-context.ts';
import type { Ending, Procedure, Step } from './step.ts';

/** The report of a run, from what its steps learned and its journal. */
export async function reportOf(
  run: RunContext,
  procedure: Procedure,
  ending: Ending,
  endedAt: string,
): Promise<RunReport> {
  const { store } = run.environment;
  const { facts } = run;
  const record = await store.journal.get(run.id);
  const entries = await store.journal.entries(run.id);
  const identity = (facts.back ?? facts.after ?? facts.before)?.identity;
  return {
    run: run.id,
    device: { name: run.device.name, model: identity?.model ?? null, serial: identity?.serial ?? null },
    procedure: { name: procedure.name, title: titleOf(procedure, run) },
    startedAt: record.startedAt,
    endedAt,
    ...ending,
    steps: procedure.steps.flatMap((step) => stepOf(step, entries)),
    slots: {
      before: facts.before?.slots ?? null,
      predicted: await predict(run, procedure),
      after: lastSeen(run, entries),
    },
    configuration: await configurationSections(run),
    readings: readingSections(run),
    warnings: facts.warnings ?? [],
    readBack: readBackSection(run),
    traffic: facts.traffic ?? null,
    notChecked: notChecked(run),
    next: nextSteps(run, ending),
  };
}

function titleOf(procedure: Procedure, { goal }: RunContext): string {
  if (procedure.name === 'update' && goal.release !== undefined)
    return `update the device to ${goal.release.sheet.release}`;
  if (goal.undoes !== undefined) return `undo run ${goal.undoes}: put the configuration from before it back`;
  if (goal.graft !== undefined) return goal.graft.title;
  return procedure.title;
}

/** Steps that were never part of the run leave no line; those it never came to are named as such. */
function stepOf(step: Step, entries: readonly JournalEntry[]): ReportStep[] {
  const own = entries.filter((entry) => entry.step === step.name && entry.state !== 'note');
  const last = own.at(-1);
  const started = own.find((entry) => entry.state === 'started');
  if (last === undefined) return [];
  const seconds = started === undefined ? null : (Date.parse(last.at) - Date.parse(started.at)) / 1000;
  const outcome =
    last.state === 'failed'
      ? 'failed'
      : last.state === 'started'
        ? 'not reached'
        : last.detail.already === true
          ? 'found done'
          : 'done';
  const note = typeof last.detail.why === 'string' ? last.detail.why : null;
  return [{ title: step.title, startedAt: started?.at ?? null, seconds, outcome, note }];
}

/** The slots as last looked at; null when something was done to them since, so that nobody knows. */
function lastSeen({ facts }: RunContext, entries: readonly JournalEntry[]): SlotState | null {
  const looked = facts.back ?? facts.after;
  if (looked !== undefined) return looked.slots;
  const touched = entries.some((entry) => entry.state === 'started' && WRITES.has(entry.step));
  return touched ? null : ((facts.kept ?? facts.before)?.slots ?? null);
}

/** Steps that leave other slots than the last look saw. */
const WRITES = new Set(['install', 'restart', 'boot', 'recover', 'apply']);

/** The slots as the run should leave them when all goes well. */
async function predict(run: RunContext, procedure: Procedure): Promise<SlotState | null> {
  const { before } = run.facts;
  if (before === undefined) return null;
  const { kind } = await run.deviceFacts();
  const { observations } = run.environment.store;
  try {
    const slots = predicted(run, procedure, before.slots, kind);
    // A configuration that booted well here before does not become unknown by coming back.
    const pair = slots.slots[slots.running];
    const known = pair !== undefined && (await observations.hasBootedWell(run.device.name, pair));
    return known && slots.restartDue !== true ? booted(slots, true) : slots;
  } catch (error) {
    // What this device cannot do (copy to a spare it has not) leaves nothing to predict; the run was refused for it.
    if (codeOf(error)?.startsWith('slots/') !== true) throw error;
    return null;
  }
}

function predicted(run: RunContext, procedure: Procedure, now: SlotState, kind: DeviceKind): SlotState {
  let slots = now;
  for (const step of procedure.steps) {
    if (step.name.startsWith('back-') || !isPart(run, procedure, step)) continue;
    const operation = step.operation?.(run.goal) ?? null;
    if (operation === null) continue;
    const then = afterOperation(slots, operation, kind);
    slots = boots(operation) ? booted(then, true) : then;
  }
  return slots;
}

/** Is a step part of the way forward, by what the run has learned? A run that keeps asks for a spare slot whatever happens. */
function isPart({ facts }: RunContext, procedure: Procedure, step: Step): boolean {
  const brings = procedure.name === 'graft' || procedure.name === 'restore';
  switch (step.name) {
    case 'keep':
      if (brings && (facts.nothingToDo === true || facts.keepFirst !== true)) return false;
      return procedure.name === 'keep' || facts.before?.slots.slots.length !== 1;
    case 'restart':
      return !brings || facts.restartNeeded === true;
    case 'apply':
      return facts.nothingToDo !== true;
    default:
      return true;
  }
}

async function configurationSections(run: RunContext): Promise<ConfigurationSection[]> {
  const { captureBefore, captureAfter, captureBack } = run.facts;
  const sections: ConfigurationSection[] = [];
  const compare = async (title: string, from: string, to: string) => {
    const { archive } = run.environment;
    const [a, b] = [await archive.get(from), await archive.get(to)];
    sections.push({ title, files: configurationChanges(a.files, b.files) });
  };
  if (captureBefore !== undefined && captureAfter !== undefined) {
    await compare('Configuration after the run against before', captureBefore, captureAfter);
  }
  if (captureBefore !== undefined && captureBack !== undefined) {
    await compare('Configuration after going back against before', captureBefore, captureBack);
  }
  return sections;
}

function readingSections({ facts }: RunContext): ReadingsSection[] {
  const { readingBefore, readingAfter, readingBack, comparison, comparisonBack } = facts;
  if (readingBefore === undefined) return [];
  const section = (
    title: string,
    after: typeof readingAfter,
    compared: typeof comparison,
  ): ReadingsSection[] =>
    after === undefined || compared === undefined
      ? []
      : [{ title, beforeAt: readingBefore.at, afterAt: after.at, comparison: compared }];
  return [
    ...section('Before, and after', readingAfter, comparison),
    ...section('Before, and after going back', readingBack, comparisonBack),
  ];
}

function readBackSection({ facts: { prediction, promises } }: RunContext): ReadBackSection | null {
  if (prediction === undefined) return null;
  const says = (words: readonly string[], how: string) => words.map((promise) => `${how}: ${promise}.`);
  const answers =
    promises === undefined
      ? []
      : [
          `${promises.checked} ${promises.checked === 1 ? 'promise' : 'promises'} checked, the way in among them: ${promises.broken.length === 0 ? 'none is broken' : `${promises.broken.length} broken`}.`,
          ...says(promises.newlyBroken, 'Broken, and kept before'),
          ...says(
            promises.broken.filter((words) => !promises.newlyBroken.includes(words)),
            'Broken, as before',
          ),
        ];
  return { sentence: prediction.sentence, promises: promises?.checked === 0 ? [] : answers };
}

function notChecked({ facts, goal }: RunContext): string[] {
  const missing: string[] = [...(facts.promises?.notChecked ?? [])];
  const reading = facts.readingBack ?? facts.readingAfter ?? facts.readingBefore;
  for (const { what, why } of reading?.notRead ?? []) missing.push(`${what}: ${why}`);
  const changes = goal.release !== undefined || goal.capture !== undefined || goal.graft !== undefined;
  if (
    changes &&
    facts.captureAfter !== undefined &&
    facts.traffic === undefined &&
    facts.before !== undefined
  ) {
    const same = facts.before.slots.slots[facts.before.slots.running]?.configuration;
    const now = facts.after?.slots.slots[facts.after.slots.running]?.configuration;
    if (same !== now) missing.push('Traffic was not compared.');
  }
  if (facts.remote !== undefined && !facts.remote.verified) {
    missing.push('The device did not give a digest of the firmware file it received.');
  }
  return missing;
}

function nextSteps(run: RunContext, { decision }: Ending): string[] {
  const name = run.device.name;
  const { graft, capture } = run.goal;
  if (graft !== undefined || capture !== undefined) {
    const undo = run.goal.undoes === undefined && run.facts.captureBefore !== undefined;
    if (decision === 'kept')
      return undo ? [`"tuckpoint graft undo ${run.id}" puts the configuration from before it back.`] : [];
    if (decision === 'went back') return ['Mend what the reason names, then plan it again.'];
  }
  switch (decision) {
    case 'kept':
      return [
        `The spare slot still holds what ran before. When you trust the new release, "tuckpoint slots keep ${name}" copies it there.`,
      ];
    case 'went back':
      return [
        'The other slot still holds the release that failed, for whoever looks into it. Do not boot it.',
        `"tuckpoint slots keep ${name}" overwrites it with what runs now.`,
      ];
    case 'stopped':
      return [
        `Look at the device, then go on: "tuckpoint resume ${run.id}" observes it again; add --keep or --go-back to decide.`,
      ];
    case 'not done':
      return ['Mend what the reason names, then begin again.'];
    case 'done':
      return [];
  }
}
