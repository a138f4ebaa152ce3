import { expect, test } from 'vitest';
import { Workbench } from './workbench.ts';

test('commands that meet a new data folder at the same time all do their work', {
  timeout: 120_000,
}, async () => {
  for (let time = 0; time < 3; time++) {
    const bench = new Workbench();
    const answers = await Promise.all(Array.from({ length: 8 }, () => bench.run('device', 'list')));
    for (const { code, stderr } of answers) expect(code, stderr).toBe(0);
    bench.remove();
  }
});
