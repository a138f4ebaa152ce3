import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Reading } from '#core/reading';
import { type Gateway, type ImageFault, whyNoLab } from '../../../lab/index.ts';
import { dataOf, type RunAnswer } from '../../whole/workbench.ts';
import { ask, runProgram } from '../login.ts';
import { LabBench } from './lab-bench.ts';
import { expectAllPasses } from './real-packets.ts';

/** What goes wrong around real gateways: one sentence, the right exit code, and both slots of the gateway sound. */
describe.skipIf(whyNoLab() !== null)('On a real gateway', { timeout: 300_000 }, () => {
  let bench: LabBench;
  let of: Gateway;
  let name: string;
  beforeAll(async () => {
    bench = await LabBench.start({ count: 1 });
    of = bench.lab.gateways[0]!;
    name = await bench.care(of);
    await bench.ended('reading', name);
  }, 120_000);
  afterAll(() => bench?.stop(), 60_000);

  let made = 2;
  const next = () => `4.${++made}.0`;
  const slots = () => ask(of, 'slotctl list');
  /** The command must fail with this exit code and one sentence, which is returned. */
  async function fails(code: number, ...command: string[]): Promise<string> {
    const answer = await bench.say(...command);
    const lines = answer.stderr.trimEnd().split('\n');
    expect(lines, answer.stderr).toHaveLength(1);
    expect(answer.code, answer.stderr).toBe(code);
    return lines[0]!;
  }
  const update = async (fault?: ImageFault) =>
    (await bench.image(of, { version: next(), ...(fault === undefined ? {} : { fault }) })).sheet;

  test('a reading lies between what "ip -j -s link" shows before and after it, and its states and errors are the same', async () => {
    interface Kernel {
      readonly ifname: string;
      readonly flags: readonly string[];
      readonly operstate: string;
      readonly stats64: Record<'rx' | 'tx', { bytes: number; errors: number }>;
    }
    // The agent reads the kernel's counters every 15 seconds only, and each reading sends probes: the counters of a leg
    // are at most those of the kernel afterwards, and at least those of the kernel a while before.
    const kernel = async () => JSON.parse(await ask(of, 'ip -j -s link show')) as Kernel[];
    const earlier = await kernel();
    await sleep(16_000);
    const { reading } = dataOf<{ reading: Reading }>(await bench.run('reading', name));
    const later = await kernel();
    expect(reading.interfaces.map((each) => each.name).sort()).toEqual(
      later.map((each) => each.ifname).sort(),
    );
    for (const { ifname, flags, operstate, stats64 } of later) {
      const seen = reading.interfaces.find((each) => each.name === ifname)!;
      const before = earlier.find((each) => each.ifname === ifname)!.stats64;
      expect(seen.admin, ifname).toBe(flags.includes('UP') ? 'up' : 'down');
      if (ifname !== 'lo') expect(seen.oper, ifname).toBe(operstate === 'UP' ? 'up' : 'down');
      expect(Number(seen.inOctets), ifname).toBeGreaterThanOrEqual(before.rx.bytes);
      expect(Number(seen.inOctets), ifname).toBeLessThanOrEqual(stats64.rx.bytes);
      expect(Number(seen.outOctets), ifname).toBeGreaterThanOrEqual(before.tx.bytes);
      expect(Number(seen.outOctets), ifname).toBeLessThanOrEqual(stats64.tx.bytes);
      expect([Number(seen.inErrors), Number(seen.outErrors)], ifname).toEqual([
        stats64.rx.errors,
        stats64.tx.errors,
      ]);
    }
  });

  test('firmware for another model, cut short, altered or not signed by its maker goes nowhere', async () => {
    const before = await slots();
    expect(await fails(3, 'update', name, '--to', await update({ kind: 'wrong-model' }))).toMatch(
      /Groyne 200/u,
    );
    expect(await fails(3, 'update', name, '--to', await update({ kind: 'truncated' }))).toMatch(/cut short/u);
    expect(await fails(3, 'update', name, '--to', await update({ kind: 'tampered' }))).toMatch(/digest/u);
    expect(await slots()).toBe(before);
    // Its sheet is right: only the gateway can tell, by the signature, after the running slot was kept.
    expect(await fails(3, 'update', name, '--to', await update({ kind: 'bad-signature' }))).toMatch(
      /signature/u,
    );
    const [running, spare] = (await slots()).trim().split('\n');
    expect(running).toBe(before.split('\n')[0]);
    expect(spare!.replace('slot 2', 'slot 1')).toBe(running!.replace(' running next', ''));
  });

  test('a full disk refuses the file before it is sent', async () => {
    const before = await slots();
    of.fillDisk(100 * 1024);
    const said = await fails(4, 'update', name, '--to', await update());
    of.freeDisk();
    expect(said).toMatch(/space|room|free/u);
    expect(await slots()).toBe(before);
  });

  test('a pulled cable is an unreachable device', async () => {
    await of.disconnect();
    const said = await fails(4, 'reading', name);
    await of.connect();
    expect(said).toContain(of.reach.address);
  });

  test('another host key stops everything, until a person says that it may have changed', async () => {
    const key = join(of.folder, 'disk/keys/ssh_host_ed25519_key');
    for (const file of [key, `${key}.pub`]) rmSync(file);
    await runProgram('ssh-keygen', ['-q', '-t', 'ed25519', '-N', '', '-f', key]);
    await of.powerCycle();
    await of.untilWell();
    const { stdout } = await runProgram('ssh-keygen', ['-lf', `${key}.pub`]);
    const boots = of.bootCount;
    for (const command of [
      ['reading', name],
      ['slots', 'keep', name],
      ['update', name, '--to', await update()],
    ])
      expect(await fails(4, ...command)).toContain(stdout.split(' ')[1]);
    expect(of.bootCount).toBe(boots);
    expect((await bench.say('device', 'forget-host-key', name)).code).toBe(0);
    expect((await bench.say('reading', name)).code).toBe(0);
  });

  test.each(['keep', 'install'] as const)(
    'a power loss in the middle of "%s" ends in a good update',
    async (step) => {
      const version = next();
      const { sheet } = await bench.image(of, { version, payloadBytes: 1_500_000 });
      let lost: Promise<void> | null = null;
      const answer = await bench.watch(['update', name, '--to', sheet], (event) => {
        if (event.kind !== 'step' || event.step !== step || event.state !== 'started' || lost !== null)
          return;
        lost = sleep(300).then(() => of.powerCycle());
      });
      expect(lost).not.toBeNull();
      await lost;
      const done = dataOf<RunAnswer>(answer);
      expect(done.decision, done.reason).toBe('kept');
      expect(await runningRelease()).toBe(version);
    },
  );

  test.each([
    ['install', 'acted', 'kept'],
    ['restart', 'acted', 'kept'],
    ['back-boot', 'acted', 'went back'],
  ] as const)('a run killed when "%s" has %s is gone on with: %s', async (step, moment, decision) => {
    const version = next();
    const before = await runningRelease();
    const fault: { fault?: ImageFault } =
      decision === 'kept' ? {} : { fault: { kind: 'rewrites-configuration' } };
    const { sheet } = await bench.image(of, { version, ...fault });
    await bench.killAt(['update', name, '--to', sheet], step, moment);
    const done = dataOf<RunAnswer>(await bench.run('resume'));
    expect(done.decision, done.reason).toBe(decision);
    expect(await runningRelease()).toBe(decision === 'kept' ? version : before);
    await expectAllPasses(of);
  });

  /** The release that runs, asked past the pinned key of the other tests. */
  async function runningRelease(): Promise<string> {
    const { stdout } = await of.run('cat', '/run/booted-release');
    return stdout.trim();
  }
});
