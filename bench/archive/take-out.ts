import { execFileSync, fork } from 'node:child_process';
import { once } from 'node:events';
import { type FolderArchive, freshKey, insideOf, keyOf, openArchive, verifyArchive } from '#archive';
import { ageDecrypts } from './cipher.ts';
import { mb, median, round, secondsSince } from './figures.ts';
import { gitShow } from './git.ts';
import { type HistorySize, seeded } from './history.ts';
import { forgetPeak, peakMB } from './memory.ts';

export function sizeOnDisk(folder: string): number {
  return Number(execFileSync('du', ['-sb', folder]).toString().split('\t')[0]);
}

/** Restores captures chosen at random; then some of them beside `git show`, which has to give the same bytes. */
export async function restoreAny(
  archive: FolderArchive,
  ids: readonly (readonly string[])[],
  size: HistorySize,
  repository: string,
) {
  const random = seeded(42);
  const chosen = Array.from({ length: 200 }, () => ({
    device: Math.floor(random() * size.devices),
    day: Math.floor(random() * size.days),
  }));
  const own: number[] = [];
  forgetPeak();
  for (const { device, day } of chosen) {
    const started = performance.now();
    await archive.get(ids[device]![day]!);
    own.push(performance.now() - started);
  }
  const peak = peakMB();
  const shown: number[] = [];
  for (const { device, day } of chosen.slice(0, 50)) {
    const show = gitShow(repository, device, size.days - 1 - day);
    shown.push(show.seconds * 1000);
    const { files } = await archive.get(ids[device]![day]!);
    if (Buffer.compare(show.bytes, files[0]!.bytes) !== 0) throw new Error('the two do not hold the same');
  }
  return {
    medianMs: round(median(own)),
    worstMs: round(Math.max(...own)),
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

/** How a process of this program is told to open an archive and restore one capture. */
export const AS_OPENER = '--as-opener';

export interface Fresh {
  readonly openMs: number;
  readonly restoreMs: number;
  readonly peakMB: number;
}

export async function openAndRestore(folder: string, secret: string, id: string): Promise<void> {
  const started = performance.now();
  const archive = await openArchive({ folder, key: await keyOf(secret) });
  const opened = performance.now();
  await archive.get(id);
  const restored = performance.now();
  await archive.close();
  process.send?.({
    openMs: round(opened - started),
    restoreMs: round(restored - opened),
    peakMB: peakMB(),
  });
}

/** What a fresh process takes to open the archive and restore one capture, as a command does. */
export async function freshProcess(main: string, folder: string, secret: string, id: string): Promise<Fresh> {
  const child = fork(main, [AS_OPENER, folder, secret, id]);
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
  return freshProcess(main, folder, key.identity, id);
}
