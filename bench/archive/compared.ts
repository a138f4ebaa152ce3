import { median, round } from './figures.ts';
import type { Syncs } from './syncs.ts';

/** What was spent between two moments: milliseconds by the clock and of the processor, and syncs. */
export interface Spent {
  readonly ms: number;
  readonly processorMs: number;
  readonly syncs: number;
  readonly syncing: number;
}

export async function spentOn(syncs: Syncs, work: () => Promise<unknown>): Promise<Spent> {
  const before = syncs.now;
  const processor = process.cpuUsage();
  const started = performance.now();
  await work();
  const ms = performance.now() - started;
  const { user, system } = process.cpuUsage(processor);
  const after = syncs.now;
  return {
    ms,
    processorMs: (user + system) / 1000,
    syncs: after.count - before.count,
    syncing: after.milliseconds - before.milliseconds,
  };
}

/** What some captures took, and the disk alone for the files of each. Times in milliseconds. */
export class Compared {
  readonly #ours: Spent[] = [];
  readonly #bare: Spent[] = [];
  #captures = 0;

  /** `ours`: of so many captures; `bare`: of the disk alone, for each of them. */
  add(captures: number, ours: Spent, bare: readonly Spent[]) {
    this.#captures += captures;
    this.#ours.push(ours);
    this.#bare.push(...bare);
  }

  report() {
    const sum = (all: readonly Spent[], of: keyof Spent) => all.reduce((total, one) => total + one[of], 0);
    const atOnce = this.#captures / this.#ours.length;
    const ms = median(this.#ours.map((one) => one.ms / atOnce));
    const bareDiskMs = median(this.#bare.map((one) => one.ms));
    const syncShare = sum(this.#ours, 'syncing') / sum(this.#ours, 'ms');
    const syncMs = sum(this.#bare, 'syncing') / sum(this.#bare, 'syncs');
    return {
      captures: this.#captures,
      ms: round(ms),
      bareDiskMs: round(bareDiskMs),
      ratio: round(ms / bareDiskMs),
      processorMs: round(sum(this.#ours, 'processorMs') / this.#captures),
      /** For one capture; the disk alone needs as many as it has files and folders of files. */
      syncs: round(sum(this.#ours, 'syncs') / this.#captures),
      /** Of the whole time, the share in which a sync was under way. */
      syncShare: round(syncShare),
      bareSyncShare: round(sum(this.#bare, 'syncing') / sum(this.#bare, 'ms')),
      /** One sync of the disk alone; and were all else as it is, on a disk of which on one is under way half of the time. */
      syncMs: round(syncMs),
      halfFromSyncMs: round((syncMs * (1 - syncShare)) / syncShare),
    };
  }
}
