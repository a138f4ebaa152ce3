import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { runProgram } from './login.ts';
import { withLab } from './with-lab.ts';

withLab('npm run lab --', { count: 1 }, (stand) => {
  const empty = mkdtempSync(join(tmpdir(), 'tuckpoint-lab-test-'));
  afterAll(() => rmSync(empty, { recursive: true, force: true }));
  const lab = (...args: string[]) =>
    runProgram(process.execPath, ['--import', 'tsx', 'lab/main.ts', ...args]);
  const here = (...args: string[]) => lab('--dir', stand.lab.dir, ...args);

  it('status prints how to reach each gateway, as text and as JSON', async () => {
    const { stdout } = await here('status');
    for (const part of ['gull-quay-fw1', stand.gateway.reach.address, stand.gateway.reach.hostKeyFingerprint])
      expect(stdout).toContain(part);
    const data = JSON.parse((await here('status', '--json')).stdout);
    expect(data.gateways).toMatchObject([
      { state: 'well', address: stand.gateway.reach.address, user: 'keeper' },
    ]);
  });

  it('fault makes a fault and takes it back', async () => {
    expect(await here('fault', '1', 'interface-down=inside')).toMatchObject({ status: 0 });
    const state = async () =>
      (await stand.gateway.run('cat', '/sys/class/net/inside/operstate')).stdout.trim();
    expect(await state()).toBe('down');
    await here('fault', '1', 'loss=40');
    expect((await stand.gateway.run('nft', 'list', 'ruleset')).stdout).toContain('mod 100 < 40');
    await here('fault', '1', 'disk-full');
    expect((await stand.gateway.run('touch', '/disk/more')).stderr).toBe('');
    expect((await stand.gateway.run('cp', '/usr/bin/env', '/disk/more')).stderr).toContain('No space left');
    await here('fault', '1', 'none');
    expect(await state()).toBe('up');
    expect((await stand.gateway.run('nft', 'list', 'ruleset')).stdout).not.toContain('mod 100');
    expect((await stand.gateway.run('cp', '/usr/bin/env', '/disk/more')).stderr).toBe('');
  });

  it('power-off, power-on and power-cycle switch its power', async () => {
    await here('power-off', '1');
    expect(stand.gateway.state).toBe('off');
    await here('power-on', '1');
    await stand.gateway.untilWell();
    const boots = stand.gateway.bootCount;
    await here('power-cycle', '1');
    await stand.gateway.untilWell(boots + 1);
  });

  it.each([
    [['up', '0'], 'A lab has 1 to 31 gateways, not 0.\n'],
    [['up', 'three'], 'The count of gateways is a whole number, not "three".\n'],
    [['down'], 'No lab lives in EMPTY. Start one: npm run lab -- up 3.\n'],
    [
      ['image', '4.3.0', 'EMPTY/a.image', '--fault', 'sulks'],
      '"sulks" is not a fault of an image. Use one of does-not-boot, rewrites-configuration, less-memory, wrong-model, bad-signature, tampered, truncated, interface-down[=outside|inside|dmz], packet-loss=1..99.\n',
    ],
  ])('%j is refused with one sentence', async (args, sentence) => {
    const answer = await lab('--dir', empty, ...args.map((arg) => arg.replace('EMPTY', empty)));
    expect(answer).toEqual({ status: 1, stdout: '', stderr: sentence.replace('EMPTY', empty) });
  });

  it('a gateway that is not there, or a fault that is none, is refused with one sentence', async () => {
    expect((await here('power-cycle', '2')).stderr).toBe(
      'There is no gateway 2; this lab has 1, counted from 1.\n',
    );
    expect((await here('fault', '1', 'loss=100')).stderr).toMatch(
      /^"loss=100" is not a fault\. Use one of /u,
    );
    expect((await here('up', '1')).stderr).toContain(`A lab lives in ${stand.lab.dir} already.`);
  });

  it('says why, when it is not root', async () => {
    const asNobody = [
      'setpriv',
      '--reuid=65534',
      '--clear-groups',
      process.execPath,
      '--import',
      'tsx',
      'lab/main.ts',
    ];
    const answer = await runProgram('env', ['TMPDIR=/tmp', ...asNobody, '--dir', empty, 'up', '1']);
    expect(answer).toMatchObject({ status: 1, stdout: '' });
    expect(answer.stderr).toContain('The lab makes network namespaces and mounts, which only root may do.');
  });
});
