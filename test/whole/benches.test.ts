import { execFile } from 'node:child_process';
import { existsSync, readdirSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { expect, test } from 'vitest';

/** Only that they run: no figure of a shared machine is a test. */
const root = fileURLToPath(new URL('../..', import.meta.url));
const names = readdirSync(path.join(root, 'bench')).filter((name) =>
  existsSync(path.join(root, 'bench', name, 'main.ts')),
);

test.each(names)(
  'the measurement %s runs at its smallest size, and prints one object',
  {
    timeout: 300_000,
  },
  async (name) => {
    const words = ['scripts/bench.js', name, '--size', 'smallest', '--json'];
    const { stdout } = await promisify(execFile)(process.execPath, words, { cwd: root, maxBuffer: 1 << 26 });
    expect(Object.keys(JSON.parse(stdout) as object).length).toBeGreaterThan(0);
  },
);
