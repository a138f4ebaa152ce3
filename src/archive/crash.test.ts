import { spawn, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type FolderArchive, openArchive } from './archive.ts';
import { type ArchiveKey, freshKey } from './key.ts';
import { verifyArchive } from './verify.ts';

/** Hundreds of crashes where time is given (TUCKPOINT_SLOW=1, or their number), a couple of dozen otherwise. */
const slow = Number(process.env.TUCKPOINT_SLOW ?? 0);
const KILLS = slow > 1 ? slow : slow === 1 ? 300 : 14;
const LIMITS = KILLS;
const TIME = { timeout: slow > 0 ? 3_600_000 : 900_000 };

// Killing a process does not lose what the system has buffered, so memory will do for a disk, and is faster.
const home = mkdtempSync(path.join(existsSync('/dev/shm') ? '/dev/shm' : tmpdir(), 'crash-'));
const root = fileURLToPath(new URL('../..', import.meta.url));
const writer = path.join(root, 'node_modules/.cache/tuckpoint', `crash-writer-${process.pid}.mjs`);
const folder = path.join(home, 'archive');
let key: ArchiveKey;

/**
 * Puts captures `from`, `from`+1, … of a slowly changing configuration and prints the id of each once it is
 * acknowledged (or the code of the error), three at once; tidies in between, so that packs and merges are interrupted too.
 */
const WRITER = `
import { writeSync } from 'node:fs';
import { keyOf, openArchive, tidy } from './src/archive/index.ts';
const [folder, identity, from, count] = process.argv.slice(2);
const archive = await openArchive({ folder, key: await keyOf(identity) });
writeSync(1, 'ready\\n');
async function put(n) {
  const lines = Array.from({ length: 300 }, (_, i) => 'rule ' + i + ' permit port ' + (i === n % 300 ? n : i));
  const files = [{ name: 'running.conf', bytes: Buffer.from('version ' + n + '\\n' + lines.join('\\n')) }];
  const at = new Date(Date.UTC(2026, 0, 1) + n * 3600e3).toISOString();
  try {
    const { id } = await archive.put({ device: 'd' + (n % 2), at, source: 'round', release: null, slot: null, run: null, files });
    writeSync(1, n + ' ' + id + '\\n');
  } catch (error) {
    writeSync(1, 'error ' + (error.code ?? error) + '\\n');
  }
}
for (let n = Number(from); n < Number(from) + Number(count); n += 3) {
  await Promise.all([put(n), put(n + 1), put(n + 2)]);
  if (n % 2 === 0) await tidy(archive.inside, 4).catch((error) => writeSync(1, 'error ' + (error.code ?? error) + '\\n'));
}
await archive.close();
`;

beforeAll(async () => {
  mkdirSync(path.dirname(writer), { recursive: true });
  const stdin = { contents: WRITER, resolveDir: root, loader: 'ts' as const };
  await build({
    stdin,
    bundle: true,
    packages: 'external',
    platform: 'node',
    format: 'esm',
    outfile: writer,
  });
  key = await freshKey();
  await (await openArchive({ folder, key })).close();
});
afterAll(() => {
  rmSync(home, { recursive: true, force: true });
  rmSync(writer, { force: true });
});

/** Starts the writer and kills it `after` milliseconds after it has printed so many lines. The answer is what it printed. */
function killedAfter(after: number, printed: number, from: number): Promise<string[]> {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [writer, folder, key.identity, String(from), '1000']);
    let text = '';
    let armed = false;
    child.stdout.on('data', (data: Buffer) => {
      text += data;
      if (armed || text.split('\n').length <= printed) return;
      armed = true;
      setTimeout(() => child.kill('SIGKILL'), after);
    });
    child.on('error', reject);
    child.on('close', () => resolve(text.split('\n').slice(1)));
  });
}

async function expectHeld(archive: FolderArchive, lines: readonly string[]): Promise<number> {
  let count = 0;
  for (const line of lines) {
    const [n, id] = line.split(' ');
    if (id === undefined || n === 'error') continue;
    const bytes = (await archive.get(id)).files[0]!.bytes;
    expect(Buffer.from(bytes).toString().split('\n')[0]).toBe(`version ${n}`);
    count += 1;
  }
  return count;
}

/** Nothing wrong but what an interrupted write may leave: a whole file that no line knows yet. */
async function expectSound(archive: FolderArchive): Promise<void> {
  const { manifest, files, captures, goodCaptures } = await verifyArchive(archive.inside);
  expect({ manifest, files, goodCaptures }).toEqual({ manifest: [], files: [], goodCaptures: captures });
}

describe('an archive whose writer', () => {
  it(`is killed ${KILLS} times at any moment has every capture that was acknowledged`, TIME, async () => {
    const all: string[] = [];
    for (let round = 0; round < KILLS; round += 1) {
      // Spread over 400 ms, mixing early and late, from before the first capture or after some, however slow the machine.
      const lines = await killedAfter(((round * 61) % 100) * 4, 1 + (round % 5), round * 1000);
      const archive = await openArchive({ folder, key });
      await expectHeld(archive, lines);
      if (round % 10 === 9) await expectSound(archive);
      await archive.close();
      all.push(...lines);
    }
    const archive = await openArchive({ folder, key });
    expect(await expectHeld(archive, all)).toBeGreaterThan(KILLS);
    await expectSound(archive);
    await archive.close();
  });

  it('meets a full disk before there is an archive says so, and begins it when there is room', async () => {
    const none = path.join(home, 'none');
    const begin = (limit: string) =>
      spawnSync(
        'prlimit',
        [
          `--fsize=${limit}`,
          'env',
          '--ignore-signal=XFSZ',
          process.execPath,
          writer,
          none,
          key.identity,
          '1',
          '1',
        ],
        {
          encoding: 'utf8',
        },
      );
    for (const limit of ['1', '200', '400']) {
      const { stdout, stderr } = begin(limit);
      expect(stdout + stderr).toContain('archive/write-failed');
    }
    const { stderr, stdout } = begin('unlimited');
    expect({ stderr, stdout }).toEqual({ stderr: '', stdout: expect.stringMatching(/^ready\n1 \S+\n/) });
  });

  it(`cannot write beyond any of ${LIMITS} byte offsets says so and loses nothing`, TIME, async () => {
    let failed = 0;
    for (let round = 0; round < LIMITS; round += 1) {
      // RLIMIT_FSIZE: write(2) fails with EFBIG at this byte of a file, as it would with ENOSPC on a full disk.
      const limit = 1 + Math.floor((round * 4000) / LIMITS) + (round % 7);
      const args = ['env', '--ignore-signal=XFSZ', process.execPath, writer, folder, key.identity];
      const from = String(500_000 + round * 100);
      const { stdout, stderr } = spawnSync('prlimit', [`--fsize=${limit}`, ...args, from, '6'], {
        encoding: 'utf8',
      });
      expect(stderr).toBe('');
      const lines = stdout.split('\n').slice(1, -1);
      const errors = lines.filter((line) => line.startsWith('error'));
      expect(new Set(errors)).toEqual(new Set(errors.length > 0 ? ['error archive/write-failed'] : []));
      failed += errors.length;
      const archive = await openArchive({ folder, key });
      await expectHeld(archive, lines);
      if (round % 10 === 9) await expectSound(archive);
      await archive.close();
    }
    expect(failed).toBeGreaterThan(LIMITS);
  });
});
