import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { configurationDigest } from '#archive';
import type { NamedFile } from '#links/port';
import { openWorkbench } from '#main';
import { carryOut, type RunEvent, startRun, undoGraft } from '#runs';
import { type Gateway, whyNoLab } from '../../../lab/index.ts';
import { ask, runProgram } from '../login.ts';
import { LabBench } from '../update/lab-bench.ts';
import { expectAllPasses } from '../update/real-packets.ts';

const SETTING = 'net.ipv4.conf.all.log_martians';

/**
 * On a real gateway that really boots: configurations whose files want a restart by the handbook (`sysctl.conf`: a
 * kernel setting that is no longer in it keeps its value until the next boot), and a cable that is really pulled.
 */
describe.skipIf(whyNoLab() !== null)('A change on a real gateway', { timeout: 240_000 }, () => {
  let bench: LabBench;
  let main: Awaited<ReturnType<typeof openWorkbench>>;
  let of: Gateway;
  let name: string;
  /** The configuration as it leaves the factory, in the archive. */
  let factory: string;

  beforeAll(async () => {
    bench = await LabBench.start({ count: 1 });
    of = bench.lab.gateways[0]!;
    // Fewer probes: what goes wrong here, goes wrong for all of them.
    name = await bench.care(of, { edit: (text) => text.replaceAll('-c 250', '-c 50') });
    process.env.TUCKPOINT_KEY_FILE = join(bench.folder, 'key.txt');
    const silent = () => {};
    main = await openWorkbench(bench.data, {
      json: true,
      result: silent,
      line: silent,
      progress: silent,
      warn: silent,
    });
    const taken = await startRun(main.runs, { device: name, procedure: 'capture', goal: {} }, silent);
    factory = taken.facts.captureBefore!;
  }, 120_000);
  afterAll(async () => {
    await main?.close();
    await bench?.stop();
  }, 60_000);

  /** The factory's configuration with some texts changed. */
  async function edited(edits: Readonly<Record<string, (text: string) => string>>): Promise<NamedFile[]> {
    const { files } = await main.archive.get(factory);
    return files.map((file) => {
      const edit = edits[file.name];
      return edit === undefined
        ? file
        : { ...file, bytes: Buffer.from(edit(Buffer.from(file.bytes).toString())) };
    });
  }
  const withSetting = (text: string) => `${text}${SETTING} = 1\n`;
  const withRule = (text: string) =>
    text.replace(
      /(\t\tcounter comment "refused between)/u,
      '\t\tiifname "inside" oifname "dmz" udp dport 123 accept comment "time"\n$1',
    );

  async function bring(after: readonly NamedFile[], tell: (event: RunEvent) => void = () => {}) {
    const before = (await main.archive.get(factory)).files;
    const plan = { device: name, plannedOn: configurationDigest(before), before, after, problems: [] };
    const replan = () => Promise.reject(new Error('This was not to be planned anew.'));
    const options = { title: 'graft', canary: null, width: 1, replan, tell };
    return (await carryOut(main.runs, [plan], options)).results[0]!;
  }

  /** Seconds since the agent started, as Net-SNMP's own client reads them (sysUpTime, RFC 3418). */
  async function sysUpTime(): Promise<number> {
    const { community } = of.reach.snmp;
    const asked = ['-v2c', '-c', community, '-m', '', '-Oqvt', of.reach.address, '1.3.6.1.2.1.1.3.0'];
    const { stdout, stderr, status } = await runProgram('snmpget', asked);
    if (status !== 0) throw new Error(stderr);
    return Number(stdout) / 100;
  }
  const bootId = () => ask(of, 'cat /proc/sys/kernel/random/boot_id');
  const setting = () => ask(of, `sysctl -n ${SETTING}`);
  const inForce = async () => (await ask(of, 'slotctl list')).split('\n').find((l) => / running/u.test(l))!;
  const titles = ({ steps }: { readonly steps: readonly { readonly title: string }[] }) =>
    steps.map(({ title }) => title).join('\n');

  test('that wants a restart is carried out with it, read back and compared; so is the whole restore of what was before', async () => {
    const started = Date.now();
    const [boots, id] = [of.bootCount, await bootId()];
    expect(await setting()).toBe('0\n');
    const after = await edited({ 'sysctl.conf': withSetting, 'nftables.conf': withRule });
    const done = await bring(after);
    expect(done.decision, done.reason).toBe('kept');
    expect(done.reason).toContain('holds what was predicted, byte for byte');
    expect(titles(done.report!)).toContain('restart, since the handbook says these files need it');
    // By the gateway's own accounts it booted once, in this very run, with the return armed over the boot.
    expect(of.bootCount).toBe(boots + 1);
    expect(await bootId()).not.toBe(id);
    expect(await sysUpTime()).toBeLessThan((Date.now() - started) / 1000);
    expect(done.report!.readings[0]!.comparison.booted).toBe('yes');
    expect(await ask(of, 'slotctl return-state')).toBe('not armed\n');
    expect(await setting()).toBe('1\n');
    expect(await ask(of, 'nft list ruleset')).toContain('comment "time"');
    expect(done.report!.traffic!.rows.join('\n')).toMatch(
      /^drop -> accept, through: udp .* port 123 on dmz/u,
    );

    const shown = await bench.say('restore', name, factory, '--dry-run');
    expect(shown.stdout).toContain('A restart is needed. The handbook asks for a restart after a change of');
    const restored = await bench.ended('restore', name, factory);
    expect(restored.decision, restored.reason).toBe('kept');
    expect(restored.reason).toContain('holds what was predicted, byte for byte');
    expect(of.bootCount).toBe(boots + 2);
    // What is no longer in the file is gone only because the gateway booted.
    expect(await setting()).toBe('0\n');
    expect(await ask(of, 'nft list ruleset')).not.toContain('comment "time"');
    expect(await ask(of, 'slotctl return-state')).toBe('not armed\n');
    await expectAllPasses(of);
  });

  test('that wants a restart goes back, by another, when the gateway comes back and is not well', async () => {
    const [boots, before] = [of.bootCount, await inForce()];
    const lame = (text: string) => text.replace(/auto dmz\n[\s\S]*?(?=\nauto|$)/u, '');
    const done = await bring(await edited({ 'sysctl.conf': withSetting, interfaces: lame }));
    expect(done.decision, done.reason).toBe('went back');
    expect(done.reason).toContain('interface dmz: up -> down');
    expect(done.reason).toContain('The workbench put the configuration from before back.');
    expect(of.bootCount).toBe(boots + 2);
    expect(await inForce()).toBe(before);
    expect(await setting()).toBe('0\n');
    expect(await ask(of, 'slotctl return-state')).toBe('not armed\n');
    await expectAllPasses(of);
  });

  test('that wants a restart goes back when the gateway does not come up at all, and boots what it holds in reserve', async () => {
    const [boots, before] = [of.bootCount, await inForce()];
    // It loads, and does not boot: addresses that are there already stay, but cannot be set any more.
    const dead = (text: string) => `${text}net.ipv6.conf.dmz.disable_ipv6 = 1\n`;
    let cycled: Promise<void> | null = null;
    const done = await bring(await edited({ 'sysctl.conf': dead }), (event) => {
      if (event.kind === 'step' && event.step === 'restart' && event.state === 'started')
        cycled ??= of.untilFailed(boots + 1, 60_000).then(() => of.powerCycle());
    });
    await cycled;
    expect(done.decision, done.reason).toBe('went back');
    // The reserve had booted well with what it holds, and what was in force before this run is put back there.
    expect(done.reason).toContain('otherwise than predicted');
    expect(done.reason).toContain('The workbench put the configuration from before back.');
    expect(of.bootCount).toBe(boots + 3);
    expect((await inForce()).replace('slot 2', 'slot 1')).toBe(before);
    expect(await ask(of, 'cat /config/sysctl.conf')).not.toContain('disable_ipv6');
    expect(await ask(of, 'slotctl return-state')).toBe('not armed\n');
    await expectAllPasses(of);
  });

  test.each(['apply', 'disarm'])(
    'whose cable is pulled for a while at %s ends with the one configuration or the other, whole',
    async (step) => {
      const before = await inForce();
      let pulled: Promise<void> | null = null;
      const pull = async () => {
        await of.disconnect();
        await sleep(4000);
        await of.connect();
      };
      const done = await bring(await edited({ 'nftables.conf': withRule }), (event) => {
        if (event.kind === 'step' && event.step === step && event.state === 'started') pulled ??= pull();
      });
      expect(pulled).not.toBeNull();
      await pulled;
      expect(['kept', 'went back'], done.reason).toContain(done.decision);
      const rules = await ask(of, 'nft list ruleset');
      expect(rules.includes('comment "time"'), done.reason).toBe(done.decision === 'kept');
      expect(await ask(of, 'slotctl return-state')).toBe('not armed\n');
      if (done.decision === 'kept')
        expect((await undoGraft(main.runs, done.run!, { width: 1, tell: () => {} })).stoppedBy).toBeNull();
      expect((await inForce()).replace('slot 2', 'slot 1')).toBe(before.replace('slot 2', 'slot 1'));
    },
  );
});
