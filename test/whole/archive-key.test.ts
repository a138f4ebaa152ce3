import { execFileSync } from 'node:child_process';
import path from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { Workbench } from './workbench.ts';

/** Every way to unlock the archive, by the command line; keys are made by the program age-keygen. */
const bench = new Workbench();
beforeAll(async () => {
  await bench.say('device', 'add', 'lantern-head-pump', '--only-delivers');
});
afterAll(() => bench.remove());

/** The exit code of a command that is given this to unlock with, and nothing else. */
function with_(unlock: Record<string, string>): number {
  const { program, args } = bench.command('archive', 'list');
  const env = {
    PATH: process.env.PATH,
    HOME: path.join(bench.folder, 'nobody'),
    TUCKPOINT_DATA: bench.data,
    ...unlock,
  };
  try {
    execFileSync(program, args, { env, stdio: 'ignore' });
    return 0;
  } catch (error) {
    return (error as { status: number }).status;
  }
}

test('a passphrase, a further recipient and the printed recovery key each open it; anything else is bad input', async () => {
  const word = bench.file('word', 'anchor lantern tide rope\n');
  expect((await bench.say('archive', 'add-way', '--passphrase-file', word)).code).toBe(0);
  const escrow = path.join(bench.folder, 'escrow.txt');
  execFileSync('age-keygen', ['-o', escrow], { stdio: 'ignore' });
  const recipient = execFileSync('age-keygen', ['-y', escrow], { encoding: 'utf8' }).trim();
  expect((await bench.say('archive', 'add-way', '--to', recipient, '--name', 'escrow')).code).toBe(0);
  const sheet = (await bench.say('archive', 'recovery-key')).stdout;
  expect(with_({ TUCKPOINT_PASSPHRASE: 'anchor lantern tide rope' })).toBe(0);
  expect(with_({ TUCKPOINT_KEY_FILE: escrow })).toBe(0);
  expect(with_({ TUCKPOINT_KEY: /AGE-SECRET-KEY-1\S+/.exec(sheet)![0] })).toBe(0);
  const strange = path.join(bench.folder, 'strange.txt');
  execFileSync('age-keygen', ['-o', strange], { stdio: 'ignore' });
  for (const wrong of [
    {},
    { TUCKPOINT_PASSPHRASE: 'anchor' },
    { TUCKPOINT_KEY_FILE: strange },
    { TUCKPOINT_KEY_FILE: '/nowhere' },
    { TUCKPOINT_KEY: 'AGE-SECRET-KEY-1X' },
  ])
    expect([wrong, with_(wrong)]).toEqual([wrong, 3]);
  for (const args of [['--to', 'age1bad'], ['--to', recipient, '--name', 'next'], []])
    expect((await bench.say('archive', 'add-way', ...args)).code).toBe(3);
});
