import type { Told } from './counters.ts';
import type { Finding, Judgement, Settled } from './finding.ts';
import type { Reading } from './reading.ts';
import { justBooted } from './settling.ts';

/** Alarms that are new, cleared or still standing. */
export function compareAlarms(before: Reading, after: Reading): readonly Finding[] {
  const about = (alarm: string) => ({ kind: 'alarm', what: `alarm "${alarm}"`, decides: true }) as const;
  const cleared = unique(before.alarms).filter((alarm) => !after.alarms.includes(alarm));
  return [
    ...unique(after.alarms).map((alarm): Finding => {
      const standing = before.alarms.includes(alarm);
      return {
        ...about(alarm),
        before: standing ? 'raised' : 'not raised',
        after: 'raised',
        judgement: standing ? 'same' : 'worse',
        why: standing ? 'It stood before too.' : 'It is new.',
      };
    }),
    ...cleared.map(
      (alarm): Finding => ({
        ...about(alarm),
        before: 'raised',
        after: 'not raised',
        judgement: 'better',
        why: 'It is gone.',
      }),
    ),
  ];
}

/** Fields that the handbook reads. Without a rule for it a changed field is open and decides nothing. */
export function compareFields(before: Reading, after: Reading, { fields }: Settled): readonly Finding[] {
  const names = unique([...Object.keys(before.fields), ...Object.keys(after.fields)]);
  return names.map((name) => {
    const [then, now] = [before.fields[name], after.fields[name]];
    const rule = Object.hasOwn(fields, name) ? fields[name]! : 'any';
    const { judgement, why } = judgeField(then, now, rule);
    return {
      kind: 'field',
      what: name,
      before: then === undefined ? 'not read' : `${then}`,
      after: now === undefined ? 'not read' : `${now}`,
      judgement,
      why,
      decides: rule !== 'any' && then !== undefined,
    };
  });
}

function judgeField(
  then: string | number | undefined,
  now: string | number | undefined,
  rule: Settled['fields'][string],
): { judgement: Judgement; why: string } {
  if (then === undefined || now === undefined) {
    return { judgement: 'unknown', why: 'It was not read both times.' };
  }
  if (then === now) return { judgement: 'same', why: 'It is the same.' };
  if (rule === 'same') return { judgement: 'worse', why: 'It changed, and it should not.' };
  if (rule === 'any' || typeof then !== 'number' || typeof now !== 'number') {
    return { judgement: 'unknown', why: 'It changed; whether that is good is for you to say.' };
  }
  const worse = rule === 'more is worse' ? now > then : now < then;
  return { judgement: worse ? 'worse' : 'better', why: `It ${now > then ? 'rose' : 'fell'}; ${rule}.` };
}

/**
 * What an agent may show late after a boot, without harm: the processor, and packets, which serve only as a measure for
 * errors (where there are errors and no packets to set them against, that is a finding of its own).
 */
const LATE = ['processor', 'packets in', 'packets out'];

/** What could not be read. Something read before and not any more keeps the verdict open. */
export function compareUnread(before: Reading, after: Reading): readonly Finding[] {
  const names = unique([...before.notRead, ...after.notRead].map((entry) => entry.what));
  return names.map((what) => {
    const then = before.notRead.find((entry) => entry.what === what);
    const now = after.notRead.find((entry) => entry.what === what);
    return {
      kind: 'not-read',
      what,
      before: then === undefined ? 'read' : 'not read',
      after: now === undefined ? 'read' : 'not read',
      judgement: 'unknown',
      why: then !== undefined && now !== undefined ? `Not read either time: ${now.why}` : (now ?? then)!.why,
      decides: then === undefined && !(LATE.includes(what) && justBooted(after)),
    };
  });
}

/** Whether the device booted in between, as a point to read and not to judge. */
export function bootFinding(before: Reading, after: Reading, booted: Told): Finding {
  return {
    kind: 'boot',
    what: 'boot',
    before: uptimeText(before),
    after: uptimeText(after),
    judgement: booted === 'unknown' ? 'unknown' : 'same',
    why:
      booted === 'unknown'
        ? 'Whether the device booted in between is not known.'
        : `The device ${booted === 'yes' ? 'booted' : 'did not boot'} in between.`,
    decides: false,
  };
}

function uptimeText({ uptimeSeconds }: Reading): string {
  if (uptimeSeconds === null) return 'uptime not read';
  const whole = Math.floor(uptimeSeconds);
  const [days, hours] = [Math.floor(whole / 86_400), Math.floor((whole % 86_400) / 3600)];
  const [minutes, seconds] = [Math.floor((whole % 3600) / 60), whole % 60];
  if (days > 0) return `up ${days} d ${hours} h`;
  if (hours > 0) return `up ${hours} h ${minutes} min`;
  return minutes > 0 ? `up ${minutes} min ${seconds} s` : `up ${seconds} s`;
}

function unique(names: readonly string[]): readonly string[] {
  return [...new Set(names)];
}
