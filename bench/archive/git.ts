import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { deviceHistory, type HistorySize } from './history.ts';

const FILE = 'running.conf';

export interface Repository {
  readonly folder: string;
  /** Seconds that it took. */
  readonly import: number;
  readonly gc: number;
  /** Made by an earlier run, not in this one. */
  readonly earlier: boolean;
}

/** Beside the repository's own files: what making it took. */
const NOTE = 'bench.json';

/**
 * The same history in a git repository: one commit a day with all devices, brought in by `git fast-import` (which
 * does not sync), then packed by `git gc --aggressive`. One that is there already, from an earlier run, is taken.
 */
export async function gitRepository(folder: string, size: HistorySize): Promise<Repository> {
  const note = path.join(folder, NOTE);
  if (existsSync(folder))
    return { ...(JSON.parse(readFileSync(note, 'utf8')) as Repository), folder, earlier: true };
  execFileSync('git', ['init', '-q', '--bare', folder]);
  const started = performance.now();
  const git = spawn('git', ['-C', folder, 'fast-import', '--quiet'], {
    stdio: ['pipe', 'ignore', 'inherit'],
  });
  const write = async (data: string | Buffer) => {
    if (!git.stdin.write(data)) await once(git.stdin, 'drain');
  };
  const marks: number[][] = [];
  let mark = 0;
  for (let device = 0; device < size.devices; device += 1)
    for (const { day, bytes, changed } of deviceHistory(size, device)) {
      if (!changed) continue;
      mark += 1;
      await write(`blob\nmark :${mark}\ndata ${bytes.length}\n`);
      await write(bytes);
      await write('\n');
      const today = marks[day] ?? [];
      marks[day] = today;
      today[device] = mark;
    }
  for (let day = 0; day < size.days; day += 1) {
    const when = Date.UTC(2026, 0, 1 + day) / 1000;
    await write(`commit refs/heads/main\ncommitter round <round@brackwater.example> ${when} +0000\ndata 0\n`);
    for (const [device, one] of (marks[day] ?? []).entries())
      if (one !== undefined) await write(`M 100644 :${one} device-${device}/${FILE}\n`);
    await write('\n');
  }
  git.stdin.end();
  await once(git, 'close');
  const imported = performance.now();
  execFileSync('git', ['-C', folder, 'gc', '--quiet', '--aggressive', '--prune=now'], {
    stdio: ['ignore', 'ignore', 'inherit'],
  });
  const seconds = { import: (imported - started) / 1000, gc: (performance.now() - imported) / 1000 };
  writeFileSync(note, JSON.stringify(seconds));
  return { folder, ...seconds, earlier: false };
}

/** Bytes of the pack and its indexes. */
export function packSize(folder: string): number {
  return Number(
    execFileSync('du', ['-sb', path.join(folder, 'objects')])
      .toString()
      .split('\t')[0],
  );
}

/** Seconds that `git show` takes for the configuration of a device on a day. */
export function gitShow(
  folder: string,
  device: number,
  daysBack: number,
): { seconds: number; bytes: Buffer } {
  const started = performance.now();
  const what = `main~${daysBack}:device-${device}/${FILE}`;
  const bytes = execFileSync('git', ['-C', folder, 'show', what], { maxBuffer: 1 << 28 });
  return { seconds: (performance.now() - started) / 1000, bytes };
}
