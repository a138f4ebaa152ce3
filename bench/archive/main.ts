import { mkdtempSync, rmSync } from 'node:fs';
import { cpus, loadavg, tmpdir } from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { freshKey, openArchive, stayLean } from '#archive';
import { mb, round } from './figures.ts';
import { gitRepository, packSize } from './git.ts';
import type { HistorySize } from './history.ts';
import { peakMB } from './memory.ts';
import { AS_SOURCE, pourOut } from './source.ts';
import { type Results, summary } from './summary.ts';
import { Syncs } from './syncs.ts';
import { idsOf, takeIn, takeInAtOnce } from './take-in.ts';
import {
  AS_OPENER,
  freshProcess,
  freshProcessWithNothing,
  openAndRestore,
  restoreAny,
  sizeOnDisk,
  verifyAll,
} from './take-out.ts';

/**
 * The archive beside its peers in the same run on the same disk: a git repository of the same history, the disk alone
 * that writes and syncs the same bytes, and the age program on the same files.
 */
const SIZES: Record<string, HistorySize & { readonly atOnce: number }> = {
  smallest: { devices: 2, days: 12, smallest: 50_000, largest: 100_000, changes: 0.3, atOnce: 1 },
  small: { devices: 4, days: 40, smallest: 50_000, largest: 200_000, changes: 0.3, atOnce: 1 },
  moderate: { devices: 20, days: 120, smallest: 50_000, largest: 2_000_000, changes: 0.3, atOnce: 1 },
  year: { devices: 20, days: 365, smallest: 50_000, largest: 2_000_000, changes: 0.3, atOnce: 1 },
  full: { devices: 200, days: 365, smallest: 50_000, largest: 2_000_000, changes: 0.3, atOnce: 16 },
};

const main = fileURLToPath(import.meta.url);
const say = (text: string) => process.stderr.write(`${text}\n`);

async function measure(name: string, repository: string | undefined): Promise<Results> {
  const { atOnce: putAtOnce, ...size } = SIZES[name]!;
  const home = mkdtempSync(path.join(tmpdir(), 'bench-archive-'));
  const [date, loadBefore] = [new Date().toISOString(), round(loadavg()[0]!)];
  try {
    const nothing = await freshProcessWithNothing(main, path.join(home, 'nothing'));
    const folder = path.join(home, 'archive');
    const key = await freshKey();
    stayLean(); // as the service and the commands of the archive do
    const archive = await openArchive({ folder, key });
    const syncs = new Syncs();
    const startMB = peakMB();
    const { total, oneByOne, peakMB: peaks } = await takeIn(archive, size, putAtOnce, main, home, syncs);
    const bytes = sizeOnDisk(folder);

    say('git …');
    const git = await gitRepository(repository ?? path.join(home, 'repository'), size);
    const packed = packSize(git.folder);
    say('restoring …');
    const restore = await restoreAny(archive, size, git.folder, main);
    say('verifying …');
    const verify = await verifyAll(archive, home, total.storedBytes);
    const fresh = await freshProcess(main, folder, key.identity, [(await idsOf(archive, 0)).at(-1)!]);
    const atOnce = await takeInAtOnce(archive, Math.min(16, size.devices), home, syncs);
    await archive.close();

    const captures = size.devices * size.days;
    const [{ model = 'unknown' } = {}] = cpus();
    return {
      machine: {
        processor: model,
        cores: cpus().length,
        node: process.version,
        loadBefore,
        loadAfter: round(loadavg()[0]!),
      },
      date,
      size: name,
      history: { ...size, captures, contentMB: mb(total.contentBytes), distinctMB: mb(total.storedBytes) },
      sizeMB: { archive: mb(bytes), git: mb(packed), ratio: round(bytes / packed) },
      takeIn: {
        oneByOne,
        atOnce,
        putAtOnce,
        allSeconds: round(total.seconds),
        processorSeconds: round(total.processorSeconds),
        packingSeconds: round(total.packSeconds),
        git: { fastImportSeconds: round(git.import), gcSeconds: round(git.gc), earlier: git.earlier },
      },
      restore,
      verify,
      freshProcess: { ofThis: fresh, ofNothing: nothing },
      peakMB: { start: startMB, ...peaks, restore: restore.peakMB, verify: verify.peakMB },
    };
  } finally {
    rmSync(home, { recursive: true, force: true });
  }
}

const own = process.argv.slice(2);
if (own[0] === AS_SOURCE) await pourOut(JSON.parse(own[1]!) as HistorySize, Number(own[2]));
else if (own[0] === AS_OPENER) await openAndRestore(own[1]!, own[2]!, own.slice(3));
else {
  const { values } = parseArgs({
    options: {
      json: { type: 'boolean', default: false },
      size: { type: 'string', default: 'moderate' },
      repository: { type: 'string' },
    },
  });
  if (SIZES[values.size] === undefined) throw new Error(`--size is one of ${Object.keys(SIZES).join(', ')}`);
  const results = await measure(values.size, values.repository);
  process.stdout.write(values.json ? `${JSON.stringify(results, null, 2)}\n` : summary(results));
}
