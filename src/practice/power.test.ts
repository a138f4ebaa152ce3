import { spawn } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, it } from 'vitest';
import { ShellClient } from './fixture/shell-client.ts';
import { makePracticeImage } from './image/make.ts';
import { type Practice, startPractice } from './start.ts';
import type { PracticeAccess } from './start-device.ts';

const folder = mkdtempSync(join(tmpdir(), 'practice-power-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
let count = 0;
const bootMs = 30;

/** One device, freshly made, while `work` runs. The image stands in /incoming as x.rel. */
async function withDevice(
  name: string,
  fault: Parameters<typeof makePracticeImage>[0]['fault'],
  work: (practice: Practice, access: PracticeAccess) => Promise<void>,
): Promise<void> {
  const home = join(folder, `${++count}`);
  const practice = await startPractice({ folder: home, bootMs, only: [name] });
  try {
    const access = practice.devices[0]!;
    const out = join(home, name, 'incoming', 'x.rel');
    await makePracticeImage({ out, release: '9.0.0', models: [access.model], ...(fault ? { fault } : {}) });
    await work(practice, access);
  } finally {
    await practice.stop();
  }
}

async function upkeep(access: PracticeAccess): Promise<ShellClient> {
  const shell = await ShellClient.open(access);
  await shell.enterUpkeep(access.upkeepWord);
  return shell;
}

async function update(practice: Practice, access: PracticeAccess): Promise<void> {
  const shell = await upkeep(access);
  await shell.confirm('keep');
  await shell.confirm('take release x.rel');
  await shell.confirm('restart');
  shell.close();
  await practice.device(access.name).reach('booting');
}
const holds = (practice: Practice, name: string) =>
  practice
    .device(name)
    .slots()
    .map((slot) => `${slot.release}${slot.running ? ' runs' : ''}`);

describe('a release that does not boot', () => {
  it('leaves a device with a watchdog on its spare', () =>
    withDevice('gull-quay-fw1', { kind: 'does-not-boot' }, async (practice, access) => {
      await update(practice, access);
      await practice.device(access.name).reach('up');
      expect(holds(practice, access.name)).toEqual(['9.0.0', '4.1.3 runs']);
    }));

  it('leaves a device without one silent until the power is cycled, and then on its spare', () =>
    withDevice('gull-quay-fw2', { kind: 'does-not-boot' }, async (practice, access) => {
      await update(practice, access);
      const device = practice.device(access.name);
      await device.reach('failed');
      await expect(ShellClient.open(access)).rejects.toThrow('ECONNREFUSED');
      device.powerCycle();
      await device.reach('up');
      expect(holds(practice, access.name)).toEqual(['9.0.0', '4.1.3 runs']);
    }));

  it('leaves a device of one slot silent until it is deployed anew', () =>
    withDevice('tidewatch-gate', { kind: 'does-not-boot' }, async (practice, access) => {
      const shell = await upkeep(access);
      await shell.confirm('take release x.rel');
      await shell.confirm('restart');
      const device = practice.device(access.name);
      await device.reach('failed');
      device.powerCycle();
      await device.reach('booting');
      await device.reach('failed');
      device.redeploy();
      await device.reach('up');
      expect(holds(practice, access.name)).toEqual(['2.6.0 runs']);
    }));
});

describe('a faulty release shows its fault only while it runs', () => {
  it.each([
    ['tell interfaces', /cctv0 set=up link=down/, { kind: 'interface-down', interface: 'cctv0' }],
    ['tell health', /lost=[1-9]/, { kind: 'packet-loss', percent: 30 }],
    ['tell health', /memory .* free=2\d{8}\b/, { kind: 'less-memory', percent: 80 }],
  ] as const)('%s shows %s', (ask, shown, fault) =>
    withDevice('gull-quay-fw1', fault, async (practice, access) => {
      const device = practice.device(access.name);
      await update(practice, access);
      await device.reach('up');
      const shell = await upkeep(access);
      expect(await shell.say(ask)).toMatch(shown);
      await shell.confirm('boot slot 2');
      await device.reach('booting');
      await device.reach('up');
      const back = await ShellClient.open(access);
      expect(await back.say(ask)).not.toMatch(shown);
      back.close();
    }),
  );

  it('a policy that it widened stays in its own slot', () =>
    withDevice('gull-quay-fw1', { kind: 'rewrites-configuration-wrongly' }, async (practice, access) => {
      const device = practice.device(access.name);
      const good = device.configuration('1').get('policy.nft');
      await update(practice, access);
      await device.reach('up');
      expect(device.configuration('1').get('policy.nft')).not.toEqual(good);
      expect(device.configuration('2').get('policy.nft')).toEqual(good);
    }));
});

describe('device faults', () => {
  it('a full disk takes no file, and says so', () =>
    withDevice('gull-quay-fw1', undefined, async (practice, access) => {
      practice.device(access.name).fault({ kind: 'disk-full' });
      const shell = await upkeep(access);
      await expect(shell.put(fileURLToPath(import.meta.url), '/incoming/y')).rejects.toThrow('no space left');
      expect(await shell.confirm('take release x.rel')).toContain('refused: no space left');
      expect(holds(practice, access.name)).toEqual(['4.1.3 runs', '4.0.9']);
      shell.close();
    }));

  it('a transfer that hangs neither ends nor fails until the session is cut', () =>
    withDevice('gull-quay-fw1', undefined, async (practice, access) => {
      const device = practice.device(access.name);
      device.fault({ kind: 'hangs-in-transfer', afterBytes: 1000 });
      const shell = await upkeep(access);
      let ended = false;
      const sent = shell.put(fileURLToPath(import.meta.url), '/incoming/y').finally(() => {
        ended = true;
      });
      sent.catch(() => {});
      expect(await shell.say('tell slots')).toContain('slot 1');
      await new Promise((done) => setTimeout(done, 100));
      expect(ended).toBe(false);
      const cut = new Promise((done) => shell.client.once('close', () => done(null)));
      device.powerCycle();
      await cut;
    }));

  it('a device that is unreachable for a while comes back without a boot', () =>
    withDevice('gull-quay-fw1', undefined, async (practice, access) => {
      practice.device(access.name).unreachableFor(80);
      await expect(ShellClient.open(access)).rejects.toThrow('ECONNREFUSED');
      await new Promise((done) => setTimeout(done, 200));
      const shell = await ShellClient.open(access);
      expect(await shell.say('tell identity')).toContain('boots: 1\r');
      shell.close();
    }));

  it('can be asked for in the shell', () =>
    withDevice('gull-quay-fw1', undefined, async (practice, access) => {
      const shell = await upkeep(access);
      expect(await shell.say('practice fault packet-loss 100')).toContain('done');
      expect(await shell.say('tell health')).toContain('probe depot sent=100 lost=100');
      expect(await shell.say('practice fault gremlins')).toContain('refused: no such fault');
      await shell.say('practice clear');
      expect(await shell.say('tell health')).toContain('probe depot sent=100 lost=0');
      await shell.say('practice power-loss during keep after');
      await shell.confirm('keep');
      await practice.device(access.name).reach('up');
      expect(holds(practice, access.name)).toEqual(['4.1.3 runs', '4.1.3']);
    }));
});

describe('power that goes in the middle', () => {
  const cases = (['install', 'keep', 'recover'] as const).flatMap((operation) =>
    (['before', 'half', 'after'] as const).map((at) => ({ operation, at })),
  );
  const expected = {
    install: ['9.0.0 runs', '4.0.9'],
    keep: ['4.1.3 runs', '4.1.3'],
    recover: ['4.0.9 runs', '4.0.9'],
  };
  it.each(cases)(
    'of $operation, $at: a slot boots, and the slots are as before or as after',
    ({ operation, at }) =>
      withDevice('gull-quay-fw1', undefined, async (practice, access) => {
        const device = practice.device(access.name);
        device.losePowerDuring(operation, at);
        const shell = await upkeep(access);
        const said = await shell.confirm(operation === 'install' ? 'take release x.rel' : operation);
        expect(said).not.toContain('done');
        await device.reach('up');
        expect(device.bootCount).toBe(2);
        expect(holds(practice, access.name)).toEqual(
          at === 'after' ? expected[operation] : ['4.1.3 runs', '4.0.9'],
        );
      }),
  );
});

describe('the process of the devices', () => {
  it('stopped and started again goes on with the same slots, boots and ports', async () => {
    const home = join(folder, 'again');
    const look = async () => {
      const practice = await startPractice({ folder: home, bootMs, only: ['Gull Quay'] });
      const found = practice.devices.map((access) => ({
        access,
        boots: practice.device(access.name).bootCount,
        slots: practice.device(access.name).slots(),
      }));
      await practice.stop();
      return found;
    };
    expect(await look()).toEqual(await look());
  });

  it('has its folder to itself', async () => {
    const home = join(folder, 'held');
    const first = await startPractice({ folder: home, bootMs, only: ['tidewatch-gate'] });
    const second = startPractice({ folder: home, bootMs, only: ['tidewatch-gate'] });
    await expect(second).rejects.toMatchObject({ code: 'practice/busy' });
    await first.stop();
    await (await startPractice({ folder: home, bootMs, only: ['tidewatch-gate'] })).stop();
  });

  it('does not know a device that the estate lacks', async () => {
    const unknown = startPractice({ folder: join(folder, 'unknown'), only: ['east-pier-fw1'] });
    await expect(unknown).rejects.toMatchObject({ code: 'practice/unknown-device' });
  });

  it('killed at any instant leaves slots that boot and hold a whole pair', { timeout: 120_000 }, async () => {
    const home = join(folder, 'killed');
    const name = 'gull-quay-fw1';
    const make = await startPractice({ folder: home, bootMs, only: [name] });
    const whole = new Set(
      make
        .device(name)
        .slots()
        .map((slot) => slot.configuration),
    );
    await make.stop();
    const image = await makePracticeImage({
      out: join(home, 'x.rel'),
      release: '9.0.0',
      models: ['Groyne 40'],
    });
    mkdirSync(join(home, name, 'incoming'), { recursive: true });
    copyFileSync(image.path, join(home, name, 'incoming', 'x.rel'));

    for (let round = 0; round < 5; round++) {
      const child = spawn(
        process.execPath,
        [
          '--import',
          'tsx',
          fileURLToPath(new URL('./fixture/run-practice.ts', import.meta.url)),
          home,
          '10',
          name,
        ],
        { stdio: ['pipe', 'pipe', 'inherit'] },
      );
      const line = await new Promise<string>((done) =>
        child.stdout.once('data', (bytes) => done(String(bytes))),
      );
      const access = (JSON.parse(line) as PracticeAccess[])[0]!;
      // Work without a pause, and kill at an instant that differs from round to round.
      let killed = false;
      void (async () => {
        while (!killed) {
          try {
            const shell = await upkeep(access);
            for (const verb of ['keep', 'take release x.rel', 'restart']) await shell.confirm(verb);
            shell.close();
          } catch {
            await new Promise((done) => setTimeout(done, 5));
          }
        }
      })();
      await new Promise((done) => setTimeout(done, 150 + round * 150));
      child.kill('SIGKILL');
      await new Promise((done) => child.once('close', done));
      killed = true;

      const practice = await startPractice({ folder: home, bootMs, only: [name] });
      await practice.device(name).reach('up');
      for (const slot of practice.device(name).slots()) {
        expect(['4.1.3', '4.0.9', '9.0.0']).toContain(slot.release);
        const files = practice.device(name).configuration(slot.id);
        const written = /# Written by release (\S+)\./.exec(String(files.get('policy.nft')))?.[1];
        expect(['4.1.3', '4.0.9', '9.0.0']).toContain(written);
        if (written !== '9.0.0') expect(whole).toContain(slot.configuration);
        expect(files.size).toBe(3);
      }
      await practice.stop();
    }
    expect(existsSync(join(home, name, 'state.json'))).toBe(true);
  });
});
