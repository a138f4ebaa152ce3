import { execFileSync, fork } from 'node:child_process';
import { once } from 'node:events';
import {
  type FolderArchive,
  freshKey,
  insideOf,
  keyOf,
  openArchive,
  stayLean,
  verifyArchive,
} from '#archive';
import { ageDecrypts } from './cipher.ts';
import { mb, median, round, secondsSince } from './figures.ts';
import { gitShow } from './git.ts';
import { type HistorySize, seeded } from './history.ts';
import { forgetPeak, peakMB } from './memory.ts';
import { idsOf } from './take-in.ts';

export function sizeOnDisk(folder: string): number {
  return Number(execFileSync('du', ['-sb', folder]).toString().split('\t')[0]);
}

/**
 * Restores captures chosen at random, in a process that does nothing else; then some of them beside `git show`, which has
 * to give the same bytes.
 */
export async function restoreAny(
  archive: FolderArchive,
  size: HistorySize,
  repository: string,
  main: string,
) {
  const random = seeded(42);
  const chosen = Array.from({ length: 200 }, () => ({
    device: Math.floor(random() * size.devices),
    day: Math.floor(random() * size.days),
  }));
  const { folder, key } = insideOf(archive);
  const wanted: string[] = [];
  for (const { device, day } of chosen) wanted.push((await idsOf(archive, device))[day]!);
  const { eachMs, peakMB: peak } = await freshProcess(main, folder, key.identity, wanted);
  const shown: number[] = [];
  for (const [i, { device, day }] of chosen.slice(0, 50).entries()) {
    const show = gitShow(repository, device, size.days - 1 - day);
    shown.push(show.seconds * 1000);
    const { files } = await archive.get(wanted[i]!);
    if (Buffer.compare(show.bytes, files[0]!.bytes) !== 0) throw new Error('the two do not hold the same');
  }
  return {
    medianMs: round(median(eachMs)),
    worstMs: round(Math.max(...eachMs)),
    gitShow: { medianMs: round(median(shown)), worstMs: round(Math.max(...shown)) },
    peakMB: peak,
  };
}

/** Verifies everything, beside `age -d` of the same containers. */
export async function verifyAll(archive: FolderArchive, home: string, distinctBytes: number) {
  const inside = insideOf(archive);
  forgetPeak();
  const started = performance.now();
  const processor = process.cpuUsage();
  const report = await verifyArchive(inside);
  const seconds = secondsSince(started);
  const { user, system } = process.cpuUsage(processor);
  const processorSeconds = (user + system) / 1e6;
  const peak = peakMB();
  if (!report.good) throw new Error('the archive does not verify');
  const age = ageDecrypts(inside.folder, home, inside.key.identity, inside.key.recipient);
  const speed = (bytes: number, took: number) => round(bytes / 1e6 / took);
  return {
    seconds: round(seconds),
    processorSeconds: round(processorSeconds),
    encryptedMB: mb(report.bytes),
    encryptedMBps: speed(report.bytes, seconds),
    configurationsMB: mb(distinctBytes),
    configurationsMBps: speed(distinctBytes, seconds),
    /** For each second of the processor: what other load does not change. */
    configurationsMBperProcessorSecond: speed(distinctBytes, processorSeconds),
    age: {
      containers: age.files,
      seconds: round(age.each),
      encryptedMBps: speed(age.bytes, age.each),
      largeFileMBps: speed(age.large.bytes, age.large.seconds),
      largeFileMBperProcessorSecond: speed(age.large.bytes, age.large.processorSeconds),
    },
    peakMB: peak,
  };
}

/** How a process of this program is told to open an archive and restore captures. */
export const AS_OPENER = '--as-opener';

export interface Fresh {
  readonly openMs: number;
  /** The first capture restored. */
  readonly restoreMs: number;
  /** Every one after the first. */
  readonly eachMs: readonly number[];
  readonly peakMB: number;
}

export async function openAndRestore(folder: string, secret: string, ids: readonly string[]): Promise<void> {
  stayLean(); // as the service and the commands of the archive do
  const started = performance.now();
  const archive = await openArchive({ folder, key: await keyOf(secret) });
  const opened = performance.now();
  const times: number[] = [];
  for (const id of ids) {
    const begun = performance.now();
    await archive.get(id);
    times.push(round(performance.now() - begun));
  }
  await archive.close();
  const [restoreMs, ...eachMs] = times;
  process.send?.({ openMs: round(opened - started), restoreMs, eachMs, peakMB: peakMB() });
}

/** What a fresh process takes to open the archive and restore captures: one of them, as a command does, or many. */
export async function freshProcess(
  main: string,
  folder: string,
  secret: string,
  ids: readonly string[],
): Promise<Fresh> {
  const child = fork(main, [AS_OPENER, folder, secret, ...ids]);
  const [[answer]] = await Promise.all([once(child, 'message'), once(child, 'exit')]);
  return answer as Fresh;
}

/** The same process with an archive of nothing: what of its memory has nothing to do with the archive's size. */
export async function freshProcessWithNothing(main: string, folder: string): Promise<Fresh> {
  const key = await freshKey();
  const archive = await openArchive({ folder, key });
  const { id } = await archive.put({
    device: 'device-0',
    at: '2026-01-01T03:00:00Z',
    source: 'round',
    release: null,
    slot: null,
    run: null,
    files: [{ name: 'running.conf', bytes: Buffer.from('set motd nothing\n') }],
  });
  await archive.close();
  return freshProcess(main, folder, key.identity, [id]);
}
