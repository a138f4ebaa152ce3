import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { RunReport } from '#runs';
import { FACTORY_RUNNING, type Gateway, type ImageFault, whyNoLab } from '../../../lab/index.ts';
import { ask, identity } from '../login.ts';
import { LabBench } from './lab-bench.ts';
import { blockedGetsIn, expectAllPasses, expectLoss, lossInside, serviceAnswers } from './real-packets.ts';

/** Updates of real gateways, each on one of its own; after each, real packets confirm what the report says. */
describe.skipIf(whyNoLab() !== null)(
  'An update of a real gateway',
  { concurrent: true, timeout: 300_000 },
  () => {
    let bench: LabBench;
    let watched: LabBench;
    beforeAll(async () => {
      [bench, watched] = await Promise.all([
        LabBench.start({ count: 8 }),
        LabBench.start({ count: 1, watchdogSeconds: 4 }),
      ]);
    }, 120_000);
    afterAll(async () => {
      await Promise.all([bench?.stop(), watched?.stop()]);
    }, 60_000);
    const gateway = (number: number) => bench.lab.gateways[number - 1]!;

    /** The running slot's release, the spare's, and the configuration's files, asked of the gateway itself. */
    async function holds(of: Gateway) {
      const list = await ask(of, 'slotctl list');
      const rows = [...list.matchAll(/^slot (\S+) release=(\S+) configuration=(\S+)(.*)$/gmu)];
      const slot = (running: boolean) =>
        rows.find(([, , , , flags]) => flags!.includes('running') === running)!;
      const pair = ([, id, release, configuration]: RegExpExecArray | RegExpMatchArray) => ({
        id,
        release,
        configuration,
      });
      return { running: pair(slot(true)), spare: pair(slot(false)) };
    }

    /** The new release was taken back: the pair from before runs, in whichever slot, and the reading says it is well. */
    async function expectTakenBack(of: Gateway, before: Awaited<ReturnType<typeof holds>>) {
      const now = await holds(of);
      expect(now.running).toMatchObject({
        release: before.running.release,
        configuration: before.running.configuration,
      });
      expect(now.spare.release).toBe('4.3.0');
      expect((await identity(of)).release).toBe(before.running.release);
      await expectAllPasses(of);
    }

    test('by plain login, SFTP and SNMPv3 is kept; the reports say what the gateway and its packets say', async () => {
      const of = gateway(1);
      const name = await bench.care(of);
      const before = await holds(of);
      const folder = join(bench.folder, 'reports');
      mkdirSync(folder);
      const done = await bench.update(of, { version: '4.3.0' }, '--report', join(folder, 'good.html'));
      expect(done, done.reason).toMatchObject({ decision: 'kept', code: 0 });
      // Common practice, no source: the update changes the firmware of the running slot only; with a copy kept first the
      // spare holds the previous pair.
      expect(await holds(of)).toEqual({
        running: { ...before.running, release: '4.3.0' },
        spare: { ...before.running, id: before.spare.id },
      });
      expect((await identity(of)).release).toBe('4.3.0');
      await expectAllPasses(of);

      for (const form of ['json', 'txt'])
        await bench.run('report', done.run, '--write', join(folder, `good.${form}`));
      const read = (form: string) => readFileSync(join(folder, `good.${form}`), 'utf8');
      for (const form of ['html', 'txt']) expect(read(form)).toContain('The update stays.');
      expect(JSON.parse(read('json'))).toEqual(JSON.parse(JSON.stringify(done.report)));
      expect(read('html')).not.toMatch(/<(?:script|link|img)[^>]+(?:src|href)=/u);
      // The digest that the sheet gives, which the run compared, is that of sha256sum.
      const image = await bench.image(of, { version: '4.3.0' });
      const { execFileSync } = await import('node:child_process');
      const sum = execFileSync('sha256sum', [image.path], { encoding: 'utf8' }).split(' ')[0];
      expect(readFileSync(image.sheet, 'utf8')).toContain(sum);

      // Nothing is left of the firmware file, and no secret stands in clear anywhere.
      expect(await ask(of, 'ls /incoming')).toBe('');
      const { v3, community } = of.reach.snmp;
      const key = readFileSync(of.reach.keyFile, 'utf8').split('\n')[2]!;
      expect(bench.filesHolding(name).length).toBeGreaterThan(0);
      for (const secret of [v3.authPassword, v3.privacyPassword, community, key]) {
        expect(bench.filesHolding(secret)).toEqual([]);
        expect(bench.printed.includes(secret)).toBe(false);
      }
    });

    test('by its own command shell, pulled over HTTP, is kept', async () => {
      const of = gateway(2);
      await bench.care(of, { login: 'shell' });
      const done = await bench.update(of, { version: '4.3.0' });
      expect(done, done.reason).toMatchObject({ decision: 'kept', code: 0 });
      expect((await holds(of)).running.release).toBe('4.3.0');
      await expectAllPasses(of);
    });

    test('by SCP and SNMPv2c is kept; one that changes a file nobody reads ends by the word of a person', async () => {
      const of = gateway(3);
      await bench.care(of, { snmp: 'v2c', edit: (text) => text.replace('by: sftp', 'by: scp') });
      const done = await bench.update(of, { version: '4.3.0' });
      expect(done, done.reason).toMatchObject({ decision: 'kept', code: 0 });
      // A changed file that no dialect reads is a person's to judge: the run stops, and ends by the person's word.
      const before = await holds(of);
      for (const [version, word, decision] of [
        ['4.4.0', '--go-back', 'went back'],
        ['4.5.0', '--keep', 'kept'],
      ] as const) {
        const asked = await bench.update(of, { version, migrates: true });
        expect(asked, asked.reason).toMatchObject({ decision: 'stopped', code: 2 });
        expect(asked.reason).toContain('sysctl.conf');
        expect(asked.report.configuration[0]!.files.map((file) => file.name)).toEqual(['sysctl.conf']);
        const answered = await bench.ended('resume', asked.run, word);
        expect(answered.decision, answered.reason).toBe(decision);
        if (decision === 'went back') {
          const { release, configuration } = (await holds(of)).running;
          expect({ release, configuration }).toEqual({
            release: before.running.release,
            configuration: before.running.configuration,
          });
        } else expect((await holds(of)).running.release).toBe(version);
      }
      await expectAllPasses(of);
    });

    test('that loses packets is taken back; before that, real packets are lost in the same share', async () => {
      const of = gateway(4);
      await bench.care(of);
      const before = await holds(of);
      await faulty(of, { kind: 'packet-loss', percent: 12 }, () => expectLoss(of, 12), /loss/u);
      await expectTakenBack(of, before);
    });

    test('that leaves a leg down is taken back; before that, nothing gets through that leg', async () => {
      const of = gateway(5);
      await bench.care(of);
      const before = await holds(of);
      const nothingPasses = async () => {
        expect(await serviceAnswers(of)).toBe(false);
        expect(await lossInside(of, 'dmz', 5)).toEqual({ sent: 5, lost: 5 });
      };
      await faulty(of, { kind: 'interface-down', leg: 'dmz' }, nothingPasses, /interface dmz: up -> /u);
      await expectTakenBack(of, before);
    });

    test('that leaves less memory is taken back', async () => {
      const of = gateway(6);
      await bench.care(of);
      const before = await holds(of);
      const held = async () => {
        expect((await ask(of, 'pgrep -x tail')).trim()).toMatch(/^\d+$/mu);
      };
      await faulty(of, { kind: 'less-memory' }, held, /memory/u);
      await expectTakenBack(of, before);
    });

    test('that rewrites the rules is taken back by what it does to traffic; before that, real packets show it', async () => {
      const of = gateway(7);
      await bench.care(of, { login: 'shell' });
      const before = await holds(of);
      expect(await blockedGetsIn(of)).toBe(false);
      const wrong = async () => {
        // The service is published to a port that nobody serves, and the blocked networks get in.
        expect(await serviceAnswers(of)).toBe(false);
      };
      const { report } = await faulty(
        of,
        { kind: 'rewrites-configuration' },
        wrong,
        /traffic is treated differently/u,
      );
      const traffic = report.traffic!;
      const rows = JSON.stringify(traffic);
      expect(rows).toMatch(/8443/u);
      // The set of the blocked networks is named as the user named it.
      expect(rows).toMatch(/@blocked/u);
      await expectTakenBack(of, before);
      expect(await blockedGetsIn(of)).toBe(false);
    });

    test('that does not boot stops; after a power cycle "resume" ends it as gone back', async () => {
      const of = gateway(8);
      const name = await bench.care(of, { edit: (text) => text.replace('boot: 60s', 'boot: 12s') });
      const before = await holds(of);
      const stopped = await bench.update(of, { version: '4.3.0', fault: { kind: 'does-not-boot' } });
      expect(stopped).toMatchObject({ decision: 'stopped', code: 2 });
      expect(stopped.reason).toContain(`tuckpoint resume ${stopped.run}`);
      // A second run is not begun over the first.
      const other = await bench.say('restart', name);
      expect([other.code, other.stderr]).toEqual([3, expect.stringContaining(stopped.run)]);
      expect(of.state).toBe('failed');
      await of.powerCycle();
      await of.untilWell();
      const resumed = await bench.ended('resume', stopped.run);
      expect(resumed, resumed.reason).toMatchObject({ decision: 'went back', code: 1 });
      expect(resumed.reason).toContain(FACTORY_RUNNING);
      await expectTakenBack(of, before);
    });

    test('that does not boot is taken back by a boot watchdog and the run, with nobody there', async () => {
      const of = watched.lab.gateways[0]!;
      await watched.care(of);
      const before = await holds(of);
      const folder = join(watched.folder, 'reports');
      const done = await watched.update(
        of,
        { version: '4.3.0', fault: { kind: 'does-not-boot' } },
        ...['--report', join(folder, 'bad.html')],
      );
      expect(done, done.reason).toMatchObject({ decision: 'went back', code: 1 });
      expect(readFileSync(join(folder, 'bad.html'), 'utf8')).toContain('The update was taken back.');
      for (const form of ['json', 'txt']) {
        await watched.run('report', done.run, '--write', join(folder, `bad.${form}`));
        expect(readFileSync(join(folder, `bad.${form}`), 'utf8')).toContain(done.reason.slice(0, 40));
      }
      await expectTakenBack(of, before);
    });

    /**
     * Updates to a faulty release. The run's process is killed when the release is up and about to be judged; real packets
     * are looked at; a new process goes on with the run, and takes the release back for the reason given.
     */
    async function faulty(
      of: Gateway,
      fault: ImageFault,
      look: () => Promise<void>,
      reason: RegExp,
    ): Promise<{ report: RunReport }> {
      const { sheet } = await bench.image(of, { version: '4.3.0', fault });
      await bench.killAt(['update', of.reach.hostname, '--to', sheet], 'compare', 'started');
      expect((await identity(of)).release).toBe('4.3.0');
      await look();
      const unfinished = await bench.run('runs', of.reach.hostname);
      const [{ id }] = JSON.parse(unfinished.stdout) as [{ id: string }];
      const done = await bench.ended('resume', id);
      expect(done, done.reason).toMatchObject({ decision: 'went back', code: 1 });
      expect(done.reason).toMatch(reason);
      return done;
    }
  },
);
