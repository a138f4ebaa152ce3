import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { expect, test } from 'vitest';

const database = new URL('./database.ts', import.meta.url).href;

/** A process that says when it is ready, and opens the database when it is told to. */
function opener(folder: string) {
  const program = `
    const { openDatabase } = await import(${JSON.stringify(database)});
    process.stdin.once('data', async () => {
      try { await (await openDatabase(${JSON.stringify(folder)})).destroy(); process.exit(0); }
      catch (error) { console.error(error, error.cause); process.exit(1); }
    });
    console.log('ready');`;
  const child = spawn(process.execPath, ['--import', 'tsx', '--input-type=module', '-e', program]);
  let said = '';
  child.stderr.on('data', (text) => {
    said += String(text);
  });
  const ended = once(child, 'exit').then(([code]) => `${code}${said}`);
  return { child, ready: once(child.stdout, 'data'), ended };
}

test('processes that meet a new data folder at the same time all open it', { timeout: 120_000 }, async () => {
  for (let time = 0; time < 3; time++) {
    const folder = mkdtempSync(path.join(tmpdir(), 'tuckpoint-store-'));
    const openers = Array.from({ length: 6 }, () => opener(folder));
    await Promise.all(openers.map(({ ready }) => ready));
    for (const { child } of openers) child.stdin.write('go\n');
    const ends = await Promise.all(openers.map(({ ended }) => ended));
    expect(ends).toEqual(openers.map(() => '0'));
    rmSync(folder, { recursive: true });
  }
});
