import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, rmSync, statSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { CaptureRecord, DeviceStanding } from '#archive';
import { type Loaded, loadNftables, type Rehearsal } from '#rehearsal';
import { whyNoLab } from '../../lab/index.ts';
import { dataOf } from '../whole/workbench.ts';
import { LabBench } from './update/lab-bench.ts';

/** Captures proven by use, against the packet filter of the kernel these tests run on. */
const here = describe.skipIf(whyNoLab() !== null);

const load = (files: Record<string, string>, roots: string[], json = false): Promise<Loaded> =>
  loadNftables(
    Object.entries(files).map(([name, text]) => ({ name, bytes: Buffer.from(text) })),
    Object.keys(files),
    roots,
    json,
  );

/** What the machine's own packet filter and folders for programs hold, which nothing here may change. */
const machine = () => [
  execFileSync('nft', ['-j', 'list', 'ruleset']).toString(),
  execFileSync('ip', ['-o', 'link']).toString(),
  statSync('/usr/sbin/nft').mtimeMs,
  readdirSync(os.tmpdir()).filter((name) => name.startsWith('rehearsal-')),
];

here('A ruleset is loaded for real', () => {
  let before: ReturnType<typeof machine>;
  beforeAll(() => {
    before = machine();
  });
  afterAll(() => expect(machine()).toEqual(before));

  const input = (rules: string, more = '') =>
    `flush ruleset\ntable inet filter {\n${more}\n chain input {\n  type filter hook input priority 0; policy drop;\n${rules}\n }\n}\n`;

  it('and counted as the kernel then shows it', async () => {
    const text = input('  iifname "lo" accept\n  tcp dport ssh accept\n  meta skuid root accept');
    expect(await load({ 'etc/nftables.conf': text }, ['etc/nftables.conf'])).toEqual({
      state: 'loaded',
      tables: 1,
      chains: 1,
      rules: 3,
      standIns: [],
    });
  });

  it('with the interfaces that it names by number', async () => {
    const text = input('  iif "wan0" accept\n  iif { "lan0", "dmz0.7" } accept');
    expect(await load({ a: text }, ['a'])).toMatchObject({
      state: 'loaded',
      rules: 2,
      standIns: ['wan0', 'lan0', 'dmz0.7'],
    });
  });

  // nft(8): a jump loop is refused by the kernel when the ruleset is loaded; "nft -c" lets it pass.
  it('and a loop of jumps, which no parser finds, is refused', async () => {
    const loop = input('  jump one', ' chain one {\n  jump two\n }\n chain two {\n  jump one\n }');
    expect(await load({ a: loop }, ['a'])).toMatchObject({
      state: 'refused',
      why: expect.stringContaining('Too many links'),
    });
  });

  it('with what it includes out of the capture, and nothing of this machine', async () => {
    const main = 'include "/etc/nftables.d/*.nft"\n';
    const part = '/etc/nftables.d/a.nft';
    const root = '/etc/nftables.conf';
    expect(await load({ [root]: main, [part]: input('') }, [root])).toMatchObject({
      state: 'loaded',
      chains: 1,
    });
    expect(await load({ [root]: 'include "/etc/hosts"\n' }, [root])).toMatchObject({
      state: 'refused',
      why: expect.stringContaining('File not found'),
    });
  });

  it('although the capture holds files where programs live', async () => {
    const files = { 'usr/sbin/nft': '#!/bin/sh\nexit 1\n', 'bin/sh': 'x', 'lib/x': 'y', a: input('') };
    expect(await load(files, ['a'])).toMatchObject({ state: 'loaded' });
  });

  it('as JSON', async () => {
    const table = { table: { family: 'ip', name: 'x' } };
    const chain = { chain: { family: 'ip', table: 'x', name: 'c' } };
    const text = JSON.stringify({ nftables: [{ add: table }, { add: chain }] });
    expect(await load({ 'a.json': text }, ['a.json'], true)).toMatchObject({
      tables: 1,
      chains: 1,
      rules: 0,
    });
  });
});

here('The captures of a real gateway', () => {
  let bench: LabBench;
  let name: string;
  const id = async () => dataOf<CaptureRecord[]>(await bench.run('archive', 'list', name)).at(-1)!.id;
  const standing = async () => dataOf<DeviceStanding[]>(await bench.run('archive', 'status'))[0]!;
  beforeAll(async () => {
    bench = await LabBench.start({ count: 1 });
    name = await bench.care(bench.lab.gateways[0]!);
    expect((await bench.say('capture', name)).code).toBe(0);
  });
  afterAll(() => bench?.stop());

  it('are rehearsed: read, and its rules loaded; the archive shows when', async () => {
    expect(await standing()).toMatchObject({ lastRehearsed: null, lastRestored: null });
    const answer = await bench.run('archive', 'rehearse', '--all');
    expect(answer.code).toBe(0);
    const [result] = dataOf<Rehearsal[]>(answer);
    expect(result).toMatchObject({ id: await id(), damage: null, proven: true, load: { state: 'loaded' } });
    expect((await standing()).lastRehearsed?.id).toBe(await id());
  });

  it('are rehearsed by one who is not root, or it is said that they could not be loaded', async () => {
    const folder = mkdtempSync(path.join(os.tmpdir(), 'rehearsal-nobody-'));
    try {
      const { program, args, environment } = bench.command('--json', 'archive', 'rehearse', name);
      execFileSync('cp', ['-r', bench.data, path.join(bench.folder, 'key.txt'), folder]);
      execFileSync('chown', ['-R', '65534:65534', folder]);
      const env = {
        ...environment,
        HOME: folder,
        TMPDIR: '/tmp',
        TUCKPOINT_DATA: path.join(folder, 'data'),
        TUCKPOINT_KEY_FILE: path.join(folder, 'key.txt'),
        XDG_STATE_HOME: path.join(folder, 'state'),
      };
      let out: string;
      try {
        const as = ['--reuid=65534', '--regid=65534', '--clear-groups', program, ...args];
        out = execFileSync('setpriv', as, { env, encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] });
      } catch (error) {
        const { status, stdout } = error as { status: number; stdout: string };
        expect(status).toBe(2);
        out = stdout;
      }
      const [{ load: result, proven }] = JSON.parse(out) as [Rehearsal];
      expect(['loaded', 'not here']).toContain(result?.state);
      expect(proven).toBe(result?.state === 'loaded');
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  });

  it('are restored, and the archive shows that one actually was', async () => {
    const capture = await id();
    const gateway = bench.lab.gateways[0]!;
    const changed = await gateway.run('sh', '-c', 'echo "# changed" >>/config/nftables.conf');
    expect(changed.stderr).toBe('');
    const restored = await bench.run('restore', name, capture);
    expect(restored.code, restored.stdout + restored.stderr).toBe(0);
    expect((await standing()).lastRestored?.id).toBe(capture);
    expect((await bench.say('archive', 'status')).stdout).toMatch(
      /last capture\s+verified\s+rehearsed\s+restored/,
    );
  });
});
