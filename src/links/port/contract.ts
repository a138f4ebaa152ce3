import assert from 'node:assert/strict';
import type { TuckpointError } from '#core/errors';
import type { Link, NamedFile, ReleaseFile } from './link.ts';

/** A device and the way to it, fresh for each check. */
export interface ContractWorld {
  readonly link: Link;
  /** A sound firmware file of another release than the device runs, and that release. */
  readonly file: ReleaseFile;
  readonly release: string;
  /** A firmware file that arrives whole and that the device refuses to install. */
  readonly forged: ReleaseFile;
  /** Where names of configuration files are the device's own: a configuration to apply. Text, lines end in LF. */
  readonly configuration: readonly NamedFile[];
  /** Opens a further link to the same device. */
  reopen(): Promise<Link>;
  stop(): Promise<void>;
}

export interface ContractCheck {
  /** What is true of every link. */
  readonly statement: string;
  /** Holds only for devices with two slots. */
  readonly twoSlots?: true;
  check(world: ContractWorld): Promise<void>;
}

const codeThrown = async (work: Promise<unknown>): Promise<string> => {
  try {
    await work;
  } catch (error) {
    return (error as TuckpointError).code;
  }
  return 'nothing was thrown';
};

const texts = (files: readonly NamedFile[]) =>
  Object.fromEntries(files.map(({ name, bytes }) => [name, Buffer.from(bytes).toString('latin1')]));

async function sides(link: Link) {
  const { slots, running, next } = await link.slots();
  return {
    running: slots.find(({ id }) => id === running)!,
    spare: slots.find(({ id }) => id !== running),
    next,
  };
}

/** What every implementation of Link must do; run by the tests of each. */
export const linkContract: readonly ContractCheck[] = [
  {
    statement: 'identify says the same until something changes',
    async check({ link }) {
      const first = await link.identify();
      const second = await link.identify();
      for (const value of [first.model, first.serial, first.hostname, first.release])
        assert.match(value, /\S/u);
      assert.deepEqual({ ...second, uptimeSeconds: 0 }, { ...first, uptimeSeconds: 0 });
    },
  },
  {
    statement: 'slots shows as many slots as the facts say, the running and the next among them',
    async check({ link }) {
      const { slots, running, next } = await link.slots();
      assert.equal(slots.length, link.facts.kind.slots);
      const ids = slots.map(({ id }) => id);
      assert.ok(ids.includes(running) && ids.includes(next));
      assert.equal(slots.find(({ id }) => id === running)!.release, (await link.identify()).release);
    },
  },
  {
    statement: 'a capture holds files with names below its folder, and is the same when nothing changed',
    async check({ link }) {
      const first = await link.capture('running');
      assert.ok(first.length > 0);
      for (const { name } of first) assert.doesNotMatch(name, /^\/|(?:^|\/)\.\.(?:\/|$)|^$/u);
      assert.deepEqual(texts(await link.capture('running')), texts(first));
    },
  },
  {
    statement: 'what is applied is what a capture then holds: no file more, no byte other',
    async check({ link, configuration }) {
      await link.apply(configuration);
      assert.deepEqual(texts(await link.capture('running')), texts(configuration));
      await link.apply(configuration);
      assert.deepEqual(texts(await link.capture('running')), texts(configuration));
    },
  },
  {
    statement: 'a file that was never transferred is not there',
    async check({ link, file }) {
      assert.equal(await link.remoteFile(file), null);
    },
  },
  {
    statement: 'a transferred file is verified by the device, found again, and may be transferred twice',
    async check({ link, file }) {
      const moved: number[] = [];
      const first = await link.transfer(file, (done, total) => {
        assert.equal(total, file.size);
        moved.push(done);
      });
      assert.equal(first.verified, true);
      assert.equal(first.sha256, file.sha256);
      assert.deepEqual(
        moved,
        [...moved].sort((a, b) => a - b),
      );
      assert.equal(moved.at(-1), file.size);
      assert.deepEqual(await link.remoteFile(file), first);
      assert.deepEqual(await link.transfer(file), first);
    },
  },
  {
    statement: 'clean removes what was transferred, and may be repeated',
    async check({ link, file }) {
      await link.transfer(file);
      await link.clean();
      await link.clean();
      assert.equal(await link.remoteFile(file), null);
    },
  },
  {
    // Common practice, no source: an update changes the firmware of one slot and leaves configurations alone.
    statement: 'an install changes the release of the slot that the facts name and no configuration',
    async check({ link, file, release }) {
      const before = texts(await link.capture('running'));
      const other = (await sides(link)).spare?.release;
      await link.install(await link.transfer(file));
      const after = await sides(link);
      const writes = link.facts.kind.installWrites;
      assert.equal(after[writes]!.release, release);
      if (writes === 'running') assert.equal(after.spare?.release, other);
      assert.equal(after.next, after[writes]!.id);
      assert.deepEqual(texts(await link.capture('running')), before);
    },
  },
  {
    statement: 'a forged file is refused in the words of the device, and the slots stay as they were',
    async check({ link, forged }) {
      const before = await link.slots();
      const remote = await link.transfer(forged);
      await assert.rejects(link.install(remote), (error: TuckpointError) => {
        assert.equal(error.code, 'links/refused');
        assert.match(error.message, /signature does not verify/u);
        return true;
      });
      assert.deepEqual(await link.slots(), before);
    },
  },
  {
    statement: 'keep makes the spare slot hold what the running one holds',
    twoSlots: true,
    async check({ link, configuration, file, release }) {
      await link.apply(configuration);
      if (link.facts.kind.installWrites === 'running') await link.install(await link.transfer(file));
      await link.keep();
      const { running, spare } = await sides(link);
      assert.deepEqual({ ...spare, id: '' }, { ...running, id: '' });
      if (link.facts.kind.installWrites === 'running') assert.equal(spare!.release, release);
      assert.deepEqual(texts(await link.capture('spare')), texts(configuration));
    },
  },
  {
    statement: 'recover makes the running slot hold what the spare one holds',
    twoSlots: true,
    async check({ link, configuration }) {
      await link.keep();
      const kept = texts(await link.capture('running'));
      const { release } = (await sides(link)).spare!;
      await link.apply(configuration);
      await link.recover();
      assert.deepEqual(texts(await link.capture('running')), kept);
      assert.equal((await sides(link)).running.release, release);
    },
  },
  {
    statement: 'boot spare makes the other slot run, with another boot id',
    twoSlots: true,
    async check({ link, reopen }) {
      const before = await sides(link);
      const { boot } = await link.identify();
      await link.boot('spare');
      const again = await reopen();
      const after = await sides(again);
      assert.equal(after.running.id, before.spare!.id);
      assert.notEqual((await again.identify()).boot, boot);
      await again.close();
    },
  },
  {
    statement:
      'after a restart the same slot runs, with another boot id, and the link that was open still serves',
    async check({ link }) {
      const before = await link.slots();
      const { boot } = await link.identify();
      await link.restart();
      assert.notEqual((await link.identify()).boot, boot);
      assert.deepEqual(await link.slots(), before);
    },
  },
  {
    statement: 'an armed return can be disarmed',
    async check({ link, configuration }) {
      assert.equal(link.facts.canArmReturn, true);
      await link.armReturn(600);
      await link.apply(configuration);
      await link.disarmReturn();
      assert.deepEqual(texts(await link.capture('running')), texts(configuration));
    },
  },
  {
    statement: 'a reading names its instant, and everything it could not read with a reason',
    async check({ link }) {
      const reading = await link.reading();
      // RFC 3339 section 5.6
      assert.match(reading.at, /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)$/u);
      assert.equal(reading.boot, (await link.identify()).boot);
      for (const { what, why } of reading.notRead) assert.ok(what !== '' && why !== '');
      for (const { sent, lost } of reading.loss) assert.ok(lost >= 0 && lost <= sent);
      if (reading.memory === null) assert.ok(reading.notRead.some(({ what }) => /memory|SNMP/u.test(what)));
    },
  },
  {
    statement: 'a report holds named files',
    async check({ link }) {
      assert.equal(link.facts.canReport, true);
      const files = await link.report();
      assert.ok(files.length > 0 && files.every(({ name, bytes }) => name !== '' && bytes.length > 0));
    },
  },
  {
    statement: 'a closed link serves no more, and closing twice is no error',
    async check({ link }) {
      await link.identify();
      await link.close();
      await link.close();
      assert.equal(await codeThrown(link.identify()), 'links/closed');
    },
  },
];
