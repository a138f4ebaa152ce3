import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { CaptureRecord } from '#archive';
import { curl, Serving } from './serving.ts';
import { dataOf, Workbench } from './workbench.ts';

/** What a person does with the archive, by the command line; what it holds is opened by age, zstd and tar alone. */
const bench = new Workbench();
const device = 'lantern-head-pump';
const texts = Array.from({ length: 4 }, (_, n) => `[lan]\naddress = 10.1.0.1\nmtu = ${1500 + n}\n`);
let ids: string[];

const list = async () =>
  dataOf<CaptureRecord[]>(await bench.run('archive', 'list', device)).map(({ id }) => id);
const shell = (script: string) =>
  execFileSync('bash', ['-euc', script], { cwd: bench.folder, encoding: 'utf8' });
const verified = async () => (await bench.say('archive', 'verify')).stdout;

beforeAll(async () => {
  await bench.say('device', 'add', device, '--only-delivers');
  const { token } = dataOf<{ token: string }>(await bench.run('delivery', 'token', device));
  const serving = await Serving.start(bench);
  for (const text of texts) {
    const file = bench.file('running.ini', text);
    expect((await curl('-T', file, `${serving.base}/drop/${token}/running.ini`)).status).toBe(201);
    await sleep(5); // captures of one instant are in no order
  }
  await serving.end();
  ids = await list();
});
afterAll(() => bench.remove());

test('captures alone and in a pack are listed, decrypted and unpacked by the commands that docs/archive.md shows', async () => {
  shell('age -d -i key.txt data/keys/key-file.age > identity');
  const lines = shell(
    `for s in data/archive/manifest/*.age; do age -d -i identity "$s" | zstd -dq; done | grep ${device}`,
  );
  for (const id of ids) expect(lines).toContain(id);
  const line = lines.split('\n').find((one) => one.includes(ids[0]!))!;
  const { in: container } = JSON.parse(line) as { in: { file: string } };
  shell(`mkdir alone; age -d -i identity data/archive/${container.file} | zstd -dq | tar -x -C alone`);
  expect(readFileSync(path.join(bench.folder, 'alone/files/running.ini'), 'utf8')).toBe(texts[0]);

  expect((await bench.say('archive', 'pack', '--least', '1')).stdout).toContain('4 captures');
  expect(readdirSync(path.join(bench.data, 'archive/captures'), { recursive: true })).not.toContainEqual(
    expect.stringMatching(/\.age$/),
  );
  shell(
    'age -d -i identity data/archive/packs/*.tar.zst.age | zstd -dq > pack.tar; tar -xf pack.tar captures',
  );
  for (const [n, id] of ids.entries())
    expect(shell(`tar -xOf pack.tar -T captures/${id}/running.ini.pieces`)).toBe(texts[n]);
});

test('keep rules are shown before they are applied; what is named stays, what goes is gone from the pack too', async () => {
  await bench.say('archive', 'name', ids[0]!, 'before the move');
  const rules = ['--all-for', '0', '--daily', '1', '--weekly', '0', '--monthly', '0', '--yearly', '0'];
  const shown = await bench.say('archive', 'retention', ...rules);
  expect(shown.stdout).toMatch(new RegExp(`${ids[0]} .* stays +named "before the move"`));
  expect(shown.stdout).toMatch(new RegExp(`${ids[1]} .* goes +no rule keeps it`));
  expect(shown.stdout).toContain('2 of 4 captures would go. Nothing was deleted');
  expect(await list()).toEqual(ids);
  expect((await bench.say('archive', 'retention', ...rules, '--apply')).stdout).toContain(
    '2 captures deleted',
  );
  expect(await list()).toEqual([ids[0], ids[3]]);
  const pack = shell('age -d -i identity data/archive/packs/*.tar.zst.age | zstd -dq | tar -t');
  expect(pack).toContain(ids[0]);
  expect(pack).not.toContain(ids[1]);
  expect(await verified()).toContain('2 of 2 captures are good');
});

test('a capture goes to another person as one file, for a passphrase or a recipient, and comes back', async () => {
  const word = bench.file('word', 'anchor lantern tide rope\n');
  const files = path.join(bench.folder, 'files');
  const one = path.join(files, 'one.age');
  await bench.say('archive', 'export', ids[0]!, '--passphrase-file', word, '--output', one);
  const escrow = path.join(files, 'escrow.txt');
  execFileSync('age-keygen', ['-o', escrow], { stdio: 'ignore' });
  const recipient = execFileSync('age-keygen', ['-y', escrow], { encoding: 'utf8' }).trim();
  const two = path.join(files, 'two.age');
  await bench.say('archive', 'export', ids[0]!, '--to', recipient, '--output', two);
  mkdirSync(path.join(bench.folder, 'theirs'));
  shell(`age -d -i ${escrow} ${two} | zstd -dq | tar -x -C theirs`);
  expect(readFileSync(path.join(bench.folder, 'theirs/files/running.ini'), 'utf8')).toBe(texts[0]);

  const wrong = await bench.say(
    'archive',
    'import',
    one,
    '--passphrase-file',
    bench.file('wrong', 'anchor\n'),
  );
  expect({ code: wrong.code, said: wrong.stderr }).toEqual({
    code: 3,
    said: 'The passphrase does not open this file. Ask the one who sent it.\n',
  });
  for (const back of [
    [one, '--passphrase-file', word],
    [two, '--identity', escrow],
  ])
    expect((await bench.say('archive', 'import', ...back)).code).toBe(0);
  expect(await list()).toHaveLength(4);
});

test('after a rotation, and after the index is built again, everything is there; a flipped bit is found', async () => {
  expect((await bench.say('archive', 'rotate')).code).toBe(0);
  expect((await bench.say('archive', 'reindex')).stdout).toContain('4 captures known, 0 found again');
  expect(await verified()).toContain('4 of 4 captures are good');
  const packs = path.join(bench.data, 'archive/packs');
  const pack = path.join(packs, readdirSync(packs)[0]!);
  const bytes = readFileSync(pack);
  bytes[300]! ^= 1;
  writeFileSync(pack, bytes);
  const bad = await bench.say('archive', 'verify');
  expect(bad.code).toBe(1);
  expect(bad.stdout).toContain(`lost: ${ids[0]}`);
});

test('an option or command that there is not is bad input, however deep', async () => {
  for (const wrong of [
    ['--nothing'],
    ['nothing'],
    ['archive', 'nothing'],
    ['archive', 'list', '--nothing'],
    ['archive', 'delete', 'x'],
  ])
    expect([wrong, (await bench.say(...wrong)).code]).toEqual([wrong, 3]);
  expect((await bench.say('archive', 'list', '--help')).code).toBe(0);
});
