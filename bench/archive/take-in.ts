import { readFileSync } from 'node:fs';
import path from 'node:path';
import { type Capture, type FolderArchive, type Inside, insideOf, type NewCapture, tidy } from '#archive';
import { Compared, type Spent, spentOn } from './compared.ts';
import { bareStore, newestLine } from './disk.ts';
import { secondsSince } from './figures.ts';
import type { HistorySize } from './history.ts';
import { forgetPeak, peakMB } from './memory.ts';
import { historyFrom } from './source.ts';
import type { Syncs } from './syncs.ts';

/** How often captures are put at once. */
const TIMES = 5;

const nameOf = (device: number) => `device-${device}`;

/** Ids of a device's captures, oldest first. Asked for when needed: those of all would be memory that is not the archive's. */
export async function idsOf(archive: FolderArchive, device: number): Promise<string[]> {
  return (await archive.list(nameOf(device))).map(({ id }) => id);
}

function captureOf(device: number, day: number, bytes: Uint8Array): NewCapture {
  const at = new Date(Date.UTC(2026, 0, 1 + day, 3, 0, device % 60)).toISOString();
  const files = [{ name: 'running.conf', bytes }];
  return { device: nameOf(device), at, source: 'round', release: '7.2.4', slot: '1', run: null, files };
}

/** What the disk alone takes for what was stored of a capture: its container, if it has one of its own, and a line. */
async function bareFor(
  inside: Inside,
  id: string,
  changed: boolean,
  home: string,
  syncs: Syncs,
): Promise<Spent> {
  const { file } = inside.catalogue.shelfOf(id)!.container;
  const line = newestLine(inside.folder);
  const own = changed ? [readFileSync(path.join(inside.folder, file))] : [];
  return spentOn(syncs, () => bareStore(path.join(home, 'bare'), id, [...own, line]));
}

/** Puts captures, so many at the same time. */
class Puts {
  readonly #archive: FolderArchive;
  readonly #atOnce: number;
  #pending: Promise<string>[] = [];
  /** Id of the one settled last. */
  last = '';

  constructor(archive: FolderArchive, atOnce: number) {
    this.#archive = archive;
    this.#atOnce = atOnce;
  }

  async put(capture: NewCapture): Promise<void> {
    this.#pending.push(this.#archive.put(capture).then(({ id }) => id));
    if (this.#pending.length >= this.#atOnce) await this.settle();
  }

  async settle(): Promise<void> {
    this.last = (await Promise.all(this.#pending)).at(-1) ?? this.last;
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
  syncs: Syncs,
) {
  const inside = insideOf(archive);
  const every = Math.ceil((size.devices * size.days) / 3000);
  const changed = new Compared();
  const unchanged = new Compared();
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
      const put = () => puts.put(captureOf(device, one.day, one.bytes));
      if (alone) await puts.settle();
      const spent = await spentOn(syncs, alone ? () => put().then(() => puts.settle()) : put);
      total.seconds += secondsSince(started);
      const { user, system } = process.cpuUsage(processor);
      total.processorSeconds += (user + system) / 1e6;
      if (!alone) continue;
      const bare = await bareFor(inside, puts.last, one.changed, home, syncs);
      (one.changed ? changed : unchanged).add(1, spent, [bare]);
    }
    await puts.settle();
    putPeak = Math.max(putPeak, peakMB());
    forgetPeak();
    const started = performance.now();
    await tidy(inside, 1);
    total.packSeconds += secondsSince(started);
    packPeak = Math.max(packPeak, peakMB());
    process.stderr.write(
      `device ${device + 1} of ${size.devices} taken in (${putPeak} MB at most) and packed (${packPeak} MB)\n`,
    );
  }
  return {
    total,
    oneByOne: { changed: changed.report(), unchanged: unchanged.report() },
    peakMB: { takeIn: putPeak, pack: packPeak },
  };
}

/** The newest capture of some devices several times more, those of a time at once: as it was, and with a line added. */
export async function takeInAtOnce(archive: FolderArchive, devices: number, home: string, syncs: Syncs) {
  const inside = insideOf(archive);
  const captures: Capture[] = [];
  for (let device = 0; device < devices; device += 1)
    captures.push(await archive.get((await idsOf(archive, device)).at(-1)!));
  const unchanged = new Compared();
  const changed = new Compared();
  for (let time = 0; time < TIMES; time += 1)
    for (const more of ['', `set motd at-once-${time}\n`]) {
      const puts = captures.map(({ files }, device) =>
        captureOf(device, 4000 + time, Buffer.concat([files[0]!.bytes, Buffer.from(more)])),
      );
      let ids: string[] = [];
      const spent = await spentOn(syncs, async () => {
        ids = (await Promise.all(puts.map((put) => archive.put(put)))).map(({ id }) => id);
      });
      const bare: Spent[] = [];
      for (const id of ids) bare.push(await bareFor(inside, id, more !== '', home, syncs));
      (more === '' ? unchanged : changed).add(ids.length, spent, bare);
    }
  return { changed: changed.report(), unchanged: unchanged.report() };
}
