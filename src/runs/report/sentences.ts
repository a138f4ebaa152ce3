import { type Finding, type Judgement, secondsOf } from '#core/reading';
import { type SlotState, samePair } from '#core/slots';
import type { Decision } from '../events.ts';
import type { ReportSlots, RunReport, StepOutcome } from './run-report.ts';

/** The decision as the first words of a report. */
export function headline({ decision, procedure }: RunReport): string {
  switch (decision) {
    case 'kept':
      return procedure.name === 'update' ? 'The update stays.' : 'The change stays.';
    case 'went back':
      return procedure.name === 'update' ? 'The update was taken back.' : 'The change was taken back.';
    case 'stopped':
      return 'The run stopped, and a person must decide.';
    case 'not done':
      return 'It was not done.';
    case 'done':
      return 'Done.';
  }
}

/** Who and what, in one line. */
export function deviceText({ device }: RunReport): string {
  const known = [device.model, device.serial === null ? null : `serial ${device.serial}`].filter(
    (part) => part !== null,
  );
  return known.length === 0 ? device.name : `${device.name} (${known.join(', ')})`;
}

/** From when to when, and how long. */
export function spanText({ startedAt, endedAt }: RunReport): string {
  return `${startedAt} to ${endedAt}, ${durationText(secondsOf(endedAt) - secondsOf(startedAt))}`;
}

/** How a run took its steps, in one sentence. */
export function stepsText({ steps }: RunReport): string {
  const count = (outcome: StepOutcome) => steps.filter((step) => step.outcome === outcome).length;
  const outcomes: readonly StepOutcome[] = ['done', 'found done', 'failed', 'left out', 'not reached'];
  const parts = outcomes.flatMap((outcome) => (count(outcome) > 0 ? [`${count(outcome)} ${outcome}`] : []));
  return `${steps.length} ${steps.length === 1 ? 'step' : 'steps'}: ${parts.join(', ')}.`;
}

/** Did the slots end as predicted? One sentence. A run that went back was predicted to end otherwise. */
export function slotsText({ before, predicted, after }: ReportSlots, decision: Decision): string {
  if (after === null) return 'What the slots hold at the end was not seen.';
  if (predicted === null) {
    if (before === null) return 'What the slots held before was not seen, and nothing was predicted.';
    return sameSlots(before, after) ? 'The slots hold what they held before.' : 'Nothing was predicted.';
  }
  if (sameSlots(predicted, after)) return 'The slots hold what was predicted.';
  return decision === 'went back'
    ? 'The slots hold what going back left; what was predicted for a good end stands beside it.'
    : 'The slots do not hold what was predicted; both are shown.';
}

/** Do both states show the same, unknown parts included? */
export function sameSlots(a: SlotState, b: SlotState): boolean {
  return (
    a.running === b.running &&
    a.next === b.next &&
    a.slots.length === b.slots.length &&
    a.slots.every((slot, i) => {
      const other = b.slots[i]!;
      const alike =
        samePair(slot, other) ||
        (slot.release === other.release && slot.configuration === other.configuration);
      return alike && slot.bootedWell === other.bootedWell;
    })
  );
}

const WEIGHT: readonly Judgement[] = ['worse', 'unknown', 'better'];
/** The word shown for a judgement. */
export const JUDGEMENT_WORD: Readonly<Record<Judgement, string>> = {
  worse: 'worse',
  unknown: 'open',
  better: 'better',
  same: 'as before',
};

/** Findings that differ from before, the heaviest first, otherwise in their order; and those that are as before. */
export function byWeight(findings: readonly Finding[]): {
  readonly differing: readonly Finding[];
  readonly same: readonly Finding[];
} {
  const differing = findings.filter(({ judgement }) => judgement !== 'same');
  return {
    differing: differing.sort((a, b) => WEIGHT.indexOf(a.judgement) - WEIGHT.indexOf(b.judgement)),
    same: findings.filter(({ judgement }) => judgement === 'same'),
  };
}

const KIND_WORD: Readonly<Record<Finding['kind'], string>> = {
  boot: 'boot',
  interface: 'interfaces',
  errors: 'errors and discards',
  loss: 'loss',
  memory: 'memory',
  processor: 'processor',
  alarm: 'alarms',
  field: 'further fields',
  'not-read': 'what is not read',
};

/** How many points are as before, by kind: `12 points: interfaces 5, errors and discards 5, memory 1, processor 1`. */
export function countText(findings: readonly Finding[]): string {
  const counts = new Map<string, number>();
  for (const { kind } of findings) counts.set(KIND_WORD[kind], (counts.get(KIND_WORD[kind]) ?? 0) + 1);
  const kinds = [...counts].map(([word, count]) => `${word} ${count}`).join(', ');
  return `${findings.length} ${findings.length === 1 ? 'point' : 'points'}: ${kinds}`;
}

/** What a comparison of readings says, in one sentence. */
export function readingsText(verdict: 'well' | 'worse' | 'cannot tell'): string {
  switch (verdict) {
    case 'well':
      return 'The device is as well as before.';
    case 'worse':
      return 'The device is worse than before.';
    case 'cannot tell':
      return 'Whether the device is as well as before cannot be told.';
  }
}

/** A length of time as a person says it. */
export function durationText(seconds: number): string {
  if (seconds < 0) return 'a time that ran backwards';
  if (seconds < 0.05) return 'under 0.1 s';
  if (seconds < 9.95) return `${seconds.toFixed(1)} s`;
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${whole % 60} s`;
  return `${Math.floor(whole / 3600)} h ${Math.floor((whole % 3600) / 60)} min`;
}

/** The time of day of a time stamp; the whole stamp on another day than the run began. Fractions are left out. */
export function clockText(at: string, startedAt: string): string {
  const short = at.replace(/\.\d+/, '');
  return short.slice(0, 10) === startedAt.slice(0, 10) ? short.slice(11) : short;
}
