import { execFileSync } from 'node:child_process';
import { mkdirSync, rmSync } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { whyNoLab } from '../../lab/index.ts';
import { curl, Serving } from '../whole/serving.ts';
import { dataOf, Workbench } from '../whole/workbench.ts';

/** The service on a disk that is really full: a small file system in memory (mount(8), tmpfs). */
describe.skipIf(whyNoLab() !== null)('A delivery that meets a full disk', () => {
  const bench = new Workbench();
  const fill = path.join(bench.data, 'fill');
  let serving: Serving | undefined;
  let token: string;
  beforeAll(async () => {
    mkdirSync(bench.data);
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=4m,mode=700', 'tmpfs', bench.data]);
    await bench.say('device', 'add', 'lantern-head-pump', '--only-delivers');
    token = dataOf<{ token: string }>(await bench.run('delivery', 'token', 'lantern-head-pump')).token;
    serving = await Serving.start(bench);
  });
  afterAll(async () => {
    await serving?.end('SIGKILL');
    execFileSync('umount', [bench.data]);
    bench.remove();
  });

  it('is told to come again later, and is taken when there is room; nothing stored before is lost', async () => {
    const file = bench.file('running.conf', Buffer.alloc(50_000, 'hostname lantern\n'));
    const put = (name: string) => curl('-T', file, `${serving!.base}/drop/${token}/${name}`);
    expect((await put('before')).status).toBe(201);
    execFileSync('sh', ['-c', `dd if=/dev/zero of='${fill}' bs=1k 2>/dev/null || true`]);
    for (let time = 0; time < 3; time += 1) {
      const full = await put(`full-${time}`);
      expect(full.status).toBe(503);
      expect(full.headers).toContain('retry-after');
      expect(full.body).not.toContain(bench.data);
    }
    rmSync(fill);
    expect((await put('after')).status).toBe(201);
    expect(await serving!.end()).toBe(0);
    const { stdout } = await bench.say('archive', 'verify');
    expect(stdout).toContain('2 of 2 captures are good');
    expect(stdout).toContain('Nothing is wrong.');
  });
});
