import { type Finding, percent, type Settled } from './finding.ts';
import type { Reading } from './reading.ts';
import { justBooted, SETTLING_SECONDS } from './settling.ts';

/** Memory and processor, each where one of the readings has it. */
export function compareCapacity(before: Reading, after: Reading, settled: Settled): readonly Finding[] {
  return [compareMemory(before, after, settled), compareProcessor(before, after, settled)].filter(
    (finding) => finding !== null,
  );
}

/** Free memory may fall by a share of the total; the total itself must not fall by as much either. */
function compareMemory(before: Reading, after: Reading, { memoryShare }: Settled): Finding | null {
  const [then, now] = [before.memory, after.memory];
  if (then === null && now === null) return null;
  const about = {
    kind: 'memory',
    what: 'free memory',
    before: memoryText(then),
    after: memoryText(now),
  } as const;
  if (then === null || now === null) return unread(about, then !== null);
  const allowed = then.totalBytes * memoryShare;
  const fallen = then.freeBytes - now.freeBytes;
  const less = then.totalBytes - now.totalBytes;
  if (less > allowed) {
    const why = `The device has ${bytes(less)} less memory in all than before.`;
    return { ...about, judgement: 'worse', why, decides: true };
  }
  const tolerance = `${percent(memoryShare)} of the total, ${bytes(allowed)}, is let pass`;
  if (Math.abs(fallen) <= allowed) {
    return { ...about, judgement: 'same', why: `The change is small (${tolerance}).`, decides: true };
  }
  const why = `${bytes(Math.abs(fallen))} ${fallen > 0 ? 'less' : 'more'} is free than before (${tolerance}).`;
  return { ...about, judgement: fallen > 0 ? 'worse' : 'better', why, decides: true };
}

function compareProcessor(before: Reading, after: Reading, { processorPoints }: Settled): Finding | null {
  const [then, now] = [before.processorPercent, after.processorPercent];
  if (then === null && now === null) return null;
  const about = {
    kind: 'processor',
    what: 'processor in use',
    before: then === null ? 'not read' : `${round(then)} %`,
    after: now === null ? 'not read' : `${round(now)} %`,
  } as const;
  // An agent that has just started has no processor figure yet: that is no sign of harm.
  if (then === null || now === null) return unread(about, then !== null && !justBooted(after));
  const tolerance = `${processorPoints} points are let pass`;
  if (Math.abs(now - then) <= processorPoints) {
    return { ...about, judgement: 'same', why: `The change is small (${tolerance}).`, decides: true };
  }
  const why = `${round(Math.abs(now - then))} points ${now > then ? 'more' : 'less'} than before (${tolerance}).`;
  if (now > then && justBooted(after)) {
    const usual = `${why} That is usual in the first ${SETTLING_SECONDS / 60} minutes after a boot: read it again later.`;
    return { ...about, judgement: 'unknown', why: usual, decides: false };
  }
  return { ...about, judgement: now > then ? 'worse' : 'better', why, decides: true };
}

function unread(about: Omit<Finding, 'judgement' | 'why' | 'decides'>, decides: boolean): Finding {
  return { ...about, judgement: 'unknown', why: 'It was not read both times.', decides };
}

function memoryText(memory: Reading['memory']): string {
  return memory === null ? 'not read' : `${bytes(memory.freeBytes)} of ${bytes(memory.totalBytes)}`;
}

/** Bytes in binary units (IEC 80000-13). */
function bytes(count: number): string {
  const units = ['B', 'KiB', 'MiB', 'GiB', 'TiB'];
  let value = count;
  let unit = 0;
  while (Math.abs(value) >= 1024 && unit < units.length - 1) {
    value /= 1024;
    unit++;
  }
  return `${unit === 0 || value >= 100 ? Math.round(value) : value.toFixed(1)} ${units[unit]}`;
}

function round(value: number): number {
  return Math.round(value * 10) / 10;
}
