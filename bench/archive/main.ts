import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { open, rename } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { parseArgs } from 'node:util';
import { freshKey, insideOf, openArchive, tidy, verifyArchive } from '#archive';
import { gitRepository, gitShow, packSize } from './git.ts';
import { deviceHistory, type HistorySize, seeded } from './history.ts';

/**
 * The archive beside a git repository of the same history: size, and the time to take in, to restore any one
 * capture and to verify all. Both on the same disk in the same run.
 */
const SIZES: Record<string, HistorySize> = {
  small: { devices: 4, days: 40, smallest: 50_000, largest: 200_000, changes: 0.3 },
  moderate: { devices: 20, days: 120, smallest: 50_000, largest: 2_000_000, changes: 0.3 },
  full: { devices: 200, days: 365, smallest: 50_000, largest: 2_000_000, changes: 0.3 },
};

const { values } = parseArgs({
  options: { json: { type: 'boolean', default: false }, size: { type: 'string', default: 'moderate' } },
});
const size = SIZES[values.size];
if (size === undefined) throw new Error(`--size is one of ${Object.keys(SIZES).join(', ')}`);

const home = mkdtempSync(path.join(tmpdir(), 'bench-archive-'));
const say = (text: string) => process.stderr.write(`${text}\n`);
const seconds = (since: number) => (performance.now() - since) / 1000;
const median = (numbers: number[]) => [...numbers].sort((a, b) => a - b)[numbers.length >> 1]!;
const mb = (bytes: number) => Math.round(bytes / 10_000) / 100;
const round = (n: number, digits = 2) => Number(n.toFixed(digits));

/** Seconds that the disk takes for what one capture needs: two files written, synced, renamed, their folders synced. */
async function diskFloor(times: number): Promise<number> {
  const started = performance.now();
  for (let n = 0; n < times; n += 1)
    for (const name of ['container', 'line']) {
      const file = path.join(home, `floor-${name}-${n}`);
      const handle = await open(`${file}.new`, 'w');
      await handle.writeFile(Buffer.alloc(20_000, n));
      await handle.sync();
      await handle.close();
      await rename(`${file}.new`, file);
      const folder = await open(home);
      await folder.sync();
      await folder.close();
    }
  return seconds(started) / times;
}

/** MB/s of `age -d` on 64 MB, the cipher beside which verification is stated. */
function ageSpeed(): number {
  const [identity, plain, sealed] = ['id', 'plain', 'sealed'].map((name) => path.join(home, name)) as [
    string,
    string,
    string,
  ];
  execFileSync('age-keygen', ['-o', identity], { stdio: 'ignore' });
  const recipient = execFileSync('age-keygen', ['-y', identity]).toString().trim();
  writeFileSync(plain, Buffer.alloc(64e6, 7));
  execFileSync('age', ['-r', recipient, '-o', sealed, plain]);
  const started = performance.now();
  execFileSync('age', ['-d', '-i', identity, '-o', '/dev/null', sealed]);
  return 64 / seconds(started);
}

try {
  const folder = path.join(home, 'archive');
  const archive = await openArchive({ folder, key: await freshKey() });
  const inside = insideOf(archive);
  let content = 0;
  let putSeconds = 0;
  let changedSeconds = 0;
  let changedCount = 0;
  const ids: string[][] = [];
  let peak = 0;
  const watch = () => {
    peak = Math.max(peak, process.memoryUsage.rss());
  };
  let packSeconds = 0;
  for (let device = 0; device < size.devices; device += 1) {
    ids[device] = [];
    for (const { day, bytes, changed } of deviceHistory(size, device)) {
      const at = new Date(Date.UTC(2026, 0, 1 + day, 3, 0, device)).toISOString();
      const files = [{ name: 'running.conf', bytes }];
      const started = performance.now();
      const capture = {
        device: `device-${device}`,
        at,
        source: 'round',
        release: '7.2.4',
        slot: '1',
        run: null,
        files,
      } as const;
      ids[device]!.push((await archive.put(capture)).id);
      const took = seconds(started);
      putSeconds += took;
      if (changed) {
        changedSeconds += took;
        changedCount += 1;
      }
      content += bytes.length;
      watch();
    }
    const started = performance.now();
    await tidy(inside, 1);
    packSeconds += seconds(started);
    watch();
    say(`device ${device + 1} of ${size.devices} taken in and packed`);
  }
  const captures = size.devices * size.days;
  const floor = await diskFloor(50);
  const ours = Number(execFileSync('du', ['-sb', folder]).toString().split('\t')[0]);

  say('git …');
  const repository = path.join(home, 'repository');
  const git = await gitRepository(repository, size);
  const theirs = packSize(repository);

  say('restoring …');
  const random = seeded(42);
  const own: number[] = [];
  const shown: number[] = [];
  for (let n = 0; n < Math.min(200, captures); n += 1) {
    const device = Math.floor(random() * size.devices);
    const day = Math.floor(random() * size.days);
    const started = performance.now();
    const { files } = await archive.get(ids[device]![day]!);
    own.push(seconds(started));
    watch();
    if (n >= 50) continue;
    const show = gitShow(repository, device, size.days - 1 - day);
    shown.push(show.seconds);
    if (Buffer.compare(show.bytes, files[0]!.bytes) !== 0) throw new Error('the two do not hold the same');
  }

  say('verifying …');
  const started = performance.now();
  const report = await verifyArchive(inside);
  const verifySeconds = seconds(started);
  watch();
  if (!report.good) throw new Error('the archive does not verify');
  await archive.close();
  const reopen = performance.now();
  await (await openArchive({ folder, key: inside.key })).close();
  const openSeconds = seconds(reopen);

  const results = {
    history: { ...size, captures, contentMB: mb(content) },
    sizeMB: { archive: mb(ours), git: mb(theirs), ratio: round(ours / theirs) },
    takeIn: {
      archiveSeconds: round(putSeconds),
      perCaptureMs: round((putSeconds / captures) * 1000),
      perChangedCaptureMs: round((changedSeconds / changedCount) * 1000),
      diskAloneMs: round(floor * 1000),
      packingSeconds: round(packSeconds),
      gitFastImportSeconds: round(git.import),
      gitGcSeconds: round(git.gc),
    },
    restoreMs: {
      archiveMedian: round(median(own) * 1000),
      archiveWorst: round(Math.max(...own) * 1000),
      gitShowMedian: round(median(shown) * 1000),
      gitShowWorst: round(Math.max(...shown) * 1000),
    },
    verify: {
      seconds: round(verifySeconds),
      encryptedMBps: round(report.bytes / 1e6 / verifySeconds),
      contentMBps: round(content / 1e6 / verifySeconds),
      ageDecryptMBps: round(ageSpeed()),
    },
    openSeconds: round(openSeconds),
    memoryPeakMB: mb(peak),
  };
  if (values.json) process.stdout.write(`${JSON.stringify(results, null, 2)}\n`);
  else
    for (const [name, value] of Object.entries(results))
      process.stdout.write(`${name}: ${JSON.stringify(value)}\n`);
} finally {
  rmSync(home, { recursive: true, force: true });
}
