import { readFileSync } from 'node:fs';
import path from 'node:path';
import { type FolderArchive, insideOf, type NewCapture, tidy } from '#archive';
import { bareStore, newestLine } from './disk.ts';
import { median, round, secondsSince } from './figures.ts';
import type { HistorySize } from './history.ts';
import { forgetPeak, peakMB } from './memory.ts';
import { historyFrom } from './source.ts';
import { Syncs } from './syncs.ts';

function captureOf(device: number, day: number, bytes: Uint8Array): NewCapture {
  const at = new Date(Date.UTC(2026, 0, 1 + day, 3, 0, device % 60)).toISOString();
  const files = [{ name: 'running.conf', bytes }];
  return { device: `device-${device}`, at, source: 'round', release: '7.2.4', slot: '1', run: null, files };
}

/** What some captures took, and the disk alone for the files of each. Times in milliseconds. */
class Compared {
  readonly #ours: number[] = [];
  readonly #bare: number[] = [];
  #syncs = 0;
  #syncing = 0;
  #bareSyncing = 0;

  /** `syncs`: of the capture; `bareSyncing`: while the disk alone was at work. */
  add(ours: number, syncs: { count: number; milliseconds: number }, bare: number, bareSyncing: number) {
    this.#ours.push(ours);
    this.#bare.push(bare);
    this.#syncs += syncs.count;
    this.#syncing += syncs.milliseconds;
    this.#bareSyncing += bareSyncing;
  }

  report() {
    const [ours, bare] = [median(this.#ours), median(this.#bare)];
    const sum = (all: readonly number[]) => all.reduce((one, other) => one + other, 0);
    return {
      captures: this.#ours.length,
      ms: round(ours),
      bareDiskMs: round(bare),
      ratio: round(ours / bare),
      /** For one capture; the disk alone needs as many as it has files and folders of files. */
      syncs: round(this.#syncs / this.#ours.length),
      /** Of the whole time, the share in which a sync was under way. */
      syncShare: round(this.#syncing / sum(this.#ours)),
      bareSyncShare: round(this.#bareSyncing / sum(this.#bare)),
    };
  }
}

/** Puts captures, so many at the same time. */
class Puts {
  readonly #archive: FolderArchive;
  readonly #atOnce: number;
  #pending: Promise<string>[] = [];
  readonly ids: string[] = [];

  constructor(archive: FolderArchive, atOnce: number) {
    this.#archive = archive;
    this.#atOnce = atOnce;
  }

  async put(capture: NewCapture): Promise<void> {
    this.#pending.push(this.#archive.put(capture).then(({ id }) => id));
    if (this.#pending.length >= this.#atOnce) await this.settle();
  }

  async settle(): Promise<void> {
    this.ids.push(...(await Promise.all(this.#pending)));
    this.#pending = [];
  }
}

/**
 * Takes in a history, each device packed at its end: one capture after the other, or (long histories) a month at once
 * with one of so many put alone. Beside those put alone the disk alone writes and syncs the same bytes.
 */
export async function takeIn(
  archive: FolderArchive,
  size: HistorySize,
  atOnce: number,
  main: string,
  home: string,
) {
  const inside = insideOf(archive);
  const every = Math.ceil((size.devices * size.days) / 3000);
  const changed = new Compared();
  const unchanged = new Compared();
  const ids: string[][] = [];
  const syncs = new Syncs();
  const total = { seconds: 0, processorSeconds: 0, packSeconds: 0, contentBytes: 0, storedBytes: 0 };
  let [putPeak, packPeak] = [0, 0];
  for (let device = 0; device < size.devices; device += 1) {
    const puts = new Puts(archive, atOnce);
    forgetPeak();
    for await (const one of historyFrom(main, size, device)) {
      total.contentBytes += one.bytes.length;
      if (one.changed) total.storedBytes += one.bytes.length;
      const alone = (device * size.days + one.day) % every === 0;
      const processor = process.cpuUsage();
      const started = performance.now();
      if (alone) await puts.settle();
      const syncsBefore = syncs.now;
      const begun = performance.now();
      await puts.put(captureOf(device, one.day, one.bytes));
      if (alone) await puts.settle();
      const ended = performance.now();
      const { user, system } = process.cpuUsage(processor);
      total.seconds += (ended - started) / 1000;
      total.processorSeconds += (user + system) / 1e6;
      if (!alone) continue;
      const syncsAfter = syncs.now;
      const id = puts.ids.at(-1)!;
      const container = inside.catalogue.shelfOf(id)!.container.file;
      const files = one.changed ? [readFileSync(path.join(inside.folder, container))] : [];
      const bare = await bareStore(path.join(home, 'bare'), id, [...files, newestLine(inside.folder)]);
      (one.changed ? changed : unchanged).add(
        ended - begun,
        {
          count: syncsAfter.count - syncsBefore.count,
          milliseconds: syncsAfter.milliseconds - syncsBefore.milliseconds,
        },
        bare,
        syncs.now.milliseconds - syncsAfter.milliseconds,
      );
    }
    await puts.settle();
    putPeak = Math.max(putPeak, peakMB());
    forgetPeak();
    const started = performance.now();
    await tidy(inside, 1);
    total.packSeconds += secondsSince(started);
    packPeak = Math.max(packPeak, peakMB());
    ids.push(puts.ids);
    process.stderr.write(
      `device ${device + 1} of ${size.devices} taken in (${putPeak} MB at most) and packed (${packPeak} MB)\n`,
    );
  }
  return {
    ids,
    total,
    oneByOne: { changed: changed.report(), unchanged: unchanged.report() },
    peakMB: { takeIn: putPeak, pack: packPeak },
  };
}

/** The newest capture of some devices once more, at the same instant: as it was, and with a line added. */
export async function takeInAtOnce(archive: FolderArchive, newest: readonly string[], home: string) {
  const captures = await Promise.all(newest.map((id) => archive.get(id)));
  const inside = insideOf(archive);
  const report = async (more: string, day: number) => {
    const puts = captures.map(({ files }, device) =>
      captureOf(device, day, Buffer.concat([files[0]!.bytes, Buffer.from(more)])),
    );
    const started = performance.now();
    const ids = (await Promise.all(puts.map((put) => archive.put(put)))).map(({ id }) => id);
    const ms = (performance.now() - started) / ids.length;
    const bare: number[] = [];
    for (const id of ids) {
      const container = inside.catalogue.shelfOf(id)!.container.file;
      const files = more === '' ? [] : [readFileSync(path.join(inside.folder, container))];
      bare.push(await bareStore(path.join(home, 'bare'), id, [...files, newestLine(inside.folder)]));
    }
    const bareDiskMs = bare.reduce((sum, one) => sum + one, 0) / bare.length;
    return {
      captures: ids.length,
      ms: round(ms),
      bareDiskMs: round(bareDiskMs),
      ratio: round(ms / bareDiskMs),
    };
  };
  const unchanged = await report('', 4000);
  return { changed: await report('set motd at-once\n', 4001), unchanged };
}
