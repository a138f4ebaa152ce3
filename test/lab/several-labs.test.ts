import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { openLab, startLab } from '../../lab/index.ts';
import { identity, runProgram } from './login.ts';
import { withLab } from './with-lab.ts';

/** All that a lab could leave behind on this machine outside its folder. */
async function traces(): Promise<string[]> {
  const say = async (program: string, ...args: string[]) => (await runProgram(program, args)).stdout;
  const lines = `${await say('ip', 'netns', 'list')}${await say('ip', '-br', 'link')}${await say('ps', '-eo', 'args')}`;
  const mounts = readFileSync('/proc/mounts', 'utf8');
  return `${lines}${mounts}`
    .split('\n')
    .filter((line) => /^lab\d|board\.sh|gateway-disk/u.test(line))
    .map((line) => line.replace(/@.*|\s+$/gu, ''))
    .sort();
}

withLab('Beside a lab that runs', { count: 2 }, (stand) => {
  it('another can be started, reached and ended without touching the first', async () => {
    const before = await traces();
    const dir = join(mkdtempSync(join(tmpdir(), 'tuckpoint-lab-test-')), 'other');
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
    expect(await traces()).toEqual(before);
    expect((await identity(stand.gateway)).hostname).toBe('gull-quay-fw1');
  });

  it('one whose boards were killed is still found and removed whole', async () => {
    const before = await traces();
    const parent = mkdtempSync(join(tmpdir(), 'tuckpoint-lab-test-'));
    const other = await startLab({ count: 1, dir: join(parent, 'other') });
    process.kill(Number(readFileSync(join(other.dir, '1', 'board.pid'), 'utf8')), 'SIGKILL');
    await expect.poll(() => other.gateways[0]!.state).toBe('off');
    await openLab(other.dir).stop();
    expect(await traces()).toEqual(before);
    rmSync(parent, { recursive: true });
  });

  it('a second one in the same folder is refused', async () => {
    await expect(startLab({ dir: stand.lab.dir })).rejects.toMatchObject({ code: 'lab/busy' });
  });
});
