import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { type Lab, openLab, startLab, stopLab } from '../../lab/index.ts';
import { identity, runProgram } from './login.ts';
import { withLab } from './with-lab.ts';

/** All that a lab leaves on this machine outside its folder: namespaces, cables, mounts, processes. */
const traces = (lab: Lab) => tracesOf(Number(/^lab(\d+)/u.exec(lab.gateways[0]!.plan.netns)![1]), lab.dir);

async function tracesOf(number: number, dir: string): Promise<string[]> {
  const say = async (program: string, ...args: string[]) => (await runProgram(program, args)).stdout;
  const lines = `${await say('ip', 'netns', 'list')}${await say('ip', '-br', 'link')}${await say('ps', '-eo', 'args')}`;
  return `${lines}${readFileSync('/proc/mounts', 'utf8')}`
    .split('\n')
    .filter((line) => new RegExp(`\\blab${number}\\b`, 'u').test(line) || line.includes(dir))
    .map((line) => line.replace(/@.*|\s+$/gu, ''))
    .sort();
}

withLab('Beside a lab that runs', { count: 2 }, (stand) => {
  const parent = mkdtempSync(join(tmpdir(), 'tuckpoint-lab-test-'));
  afterAll(() => rmSync(parent, { recursive: true, force: true }));

  it('another can be started, reached and ended without touching the first', async () => {
    const before = await traces(stand.lab);
    const dir = join(parent, 'other');
    const other = await startLab({ count: 2, dir });
    try {
      const serials = await Promise.all(
        [...stand.lab.gateways, ...other.gateways].map(async (gateway) => (await identity(gateway)).serial),
      );
      expect(new Set(serials).size).toBe(4);
    } finally {
      await other.stop();
    }
    expect(existsSync(dir)).toBe(false);
    expect(await traces(other)).toEqual([]);
    expect(await traces(stand.lab)).toEqual(before);
    // Two gateways with three hosts, and the number itself; the boards; the disks.
    expect(before.length).toBeGreaterThanOrEqual(2 * 4 + 1 + 2 + 2);
    expect((await identity(stand.gateway)).hostname).toBe('gull-quay-fw1');
  });

  it('one whose boards were killed is still found and removed whole', async () => {
    const other = await startLab({ count: 1, dir: join(parent, 'other') });
    process.kill(Number(readFileSync(join(other.dir, '1', 'board.pid'), 'utf8')), 'SIGKILL');
    await expect.poll(() => other.gateways[0]!.state).toBe('off');
    await openLab(other.dir).stop();
    expect(await traces(other)).toEqual([]);
  });

  it.each([0, 60, 150, 300])(
    'one whose start was killed after %i ms can be ended, and leaves nothing',
    async (ms) => {
      const dir = join(parent, 'killed');
      const up = spawn(process.execPath, ['--import', 'tsx', 'lab/main.ts', '--dir', dir, 'up', '2']);
      const ended = new Promise((resolve) => up.on('close', resolve));
      await expect
        .poll(() => existsSync(join(dir, 'state.json')), { timeout: 20_000, interval: 5 })
        .toBe(true);
      await new Promise((resolve) => setTimeout(resolve, ms));
      up.kill('SIGKILL');
      await ended;
      const { lab } = JSON.parse(readFileSync(join(dir, 'state.json'), 'utf8'));
      await stopLab(dir);
      await new Promise((resolve) => setTimeout(resolve, 300));
      expect(await tracesOf(lab, dir)).toEqual([]);
    },
  );

  it('a second one in the same folder is refused', async () => {
    await expect(startLab({ dir: stand.lab.dir })).rejects.toMatchObject({ code: 'lab/busy' });
  });
});
