import { createHash } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import { mkdir } from 'node:fs/promises';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { DeviceStanding } from '#archive';
import type { Reading } from '#core/reading';
import type { Plan, RunReport } from '#runs';
import { Estate } from './estate.ts';
import { dataOf } from './workbench.ts';

/** Every run that is not an update, and every way to look at runs, on a practice device of two slots. */
const name = 'gull-quay-fw2';
let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start([name]);
});
afterAll(() => estate.stop());

const slots = () => estate.control(name).slots();
const running = () => slots().find((slot) => slot.running)!;
const spare = () => slots().find((slot) => !slot.running)!;

interface Capture {
  readonly capture: string;
  readonly decision: string;
}
const capture = async () => dataOf<Capture[]>(await estate.run('capture', name))[0]!.capture;

describe('A dry run', () => {
  const unreached = async <T>(work: () => Promise<T>): Promise<T> => {
    // Nothing listens: a connection would fail.
    estate.control(name).unreachableFor(600_000);
    try {
      return await work();
    } finally {
      estate.control(name).unreachableFor(0);
    }
  };

  test('before the device was ever seen says so, and opens no connection', async () => {
    const { sheet } = await estate.release(name);
    const answer = await unreached(() => estate.run('update', name, '--to', sheet, '--dry-run'));
    const plan = dataOf<Plan>(answer);
    expect(plan).toMatchObject({ device: name, procedure: 'update', seenAt: null, slots: null });
    expect(plan.doubts.join(' ')).toContain('has not been seen');
  });

  test('of anything names the steps in order, with the slots, and touches nothing', async () => {
    const { sheet, release } = await estate.release(name);
    const id = await capture();
    const [log, before] = [estate.control(name).log().length, slots()];
    const runs = dataOf<unknown[]>(await estate.run('runs')).length;
    const commands = [
      ['update', name, '--to', sheet],
      ['boot', name, '--slot', 'spare'],
      ['restart', name],
      ['shutdown', name],
      ['slots', 'keep', name],
      ['slots', 'recover', name],
      ['reading', name],
      ['restore', name, id],
    ];
    await unreached(async () => {
      for (const command of commands) {
        const answer = await estate.run(...command, '--dry-run');
        expect(answer.code, answer.stderr).toBe(0);
        const plan = dataOf<Plan>(answer);
        expect(plan.steps[0]!.step).toBe('look');
        if (command[0] !== 'update') continue;
        const said = await estate.say(...command, '--dry-run');
        expect(said.stdout).toContain('The device was not touched.');
        let at = 0;
        for (const step of plan.steps) {
          at = said.stdout.indexOf(step.title, at);
          expect(at, step.title).toBeGreaterThan(0);
        }
        const installed = plan.steps.find(({ step }) => step === 'install')!;
        expect(installed.predicted!.slots.map((slot) => slot.release)).toContain(release);
      }
    });
    expect(estate.control(name).log()).toHaveLength(log);
    expect(slots()).toEqual(before);
    expect(dataOf<unknown[]>(await estate.run('runs'))).toHaveLength(runs);
  });
});

describe('Runs', () => {
  test('capture: into the archive, verified; an unchanged one again', async () => {
    const [first, second] = [await capture(), await capture()];
    expect(first).toMatch(/./u);
    expect(second).toMatch(/./u);
    const all = dataOf<Capture[]>(await estate.run('capture', '--all'));
    expect(all.map((one) => one.decision)).toEqual(['done']);
  });

  test('reading: what the device shows at that instant, every part of it', async () => {
    const answer = dataOf<{ reading: Reading }>(await estate.run('reading', name));
    const { interfaces, memory, loss, notRead } = answer.reading;
    // The interfaces that its own configuration names.
    const system = Buffer.from(
      estate.control(name).configuration(running().id).get('system.conf')!,
    ).toString();
    const named = [...system.matchAll(/^\[interface (\S+)\]$/gmu)].map(([, word]) => word);
    expect(interfaces.map((each) => each.name)).toEqual(named);
    expect(memory).not.toBeNull();
    expect(loss.map((each) => each.target)).toContain('depot');
    expect(notRead).toEqual([]);
    const said = await estate.say('reading', name);
    for (const word of named) expect(said.stdout).toContain(`\n${word} `);
    expect(said.stdout).toMatch(/memory: \d+ of \d+ bytes free/u);
  });

  test('slots: what each holds, as the device itself shows', async () => {
    const seen = dataOf<{ slots: RunReport['slots']['before'] }>(await estate.run('slots', name)).slots!;
    expect(seen.slots.map(({ id, release }) => ({ id, release }))).toEqual(
      slots().map(({ id, release }) => ({ id, release })),
    );
    expect(seen.slots[seen.running]!.id).toBe(running().id);
  });

  // Common practice, no source: a copy of the running slot puts release and configuration both into the spare.
  test('slots keep: the spare holds what runs, release and configuration both', async () => {
    const before = running();
    expect(await estate.ended('slots', 'keep', name)).toMatchObject({ decision: 'done', code: 0 });
    expect(running()).toEqual(before);
    expect(spare()).toMatchObject({ release: before.release, configuration: before.configuration });
  });

  // Common practice, no source: an update changes the firmware of the running slot only; with a copy kept first, the
  // spare then holds the previous pair; either slot can boot.
  test('update, boot of the spare and back: the previous pair is in the spare, and either slot boots', async () => {
    const before = running();
    const folder = path.join(estate.folder, 'reports');
    await mkdir(folder, { recursive: true });
    await estate.updateWell(name, '--report', path.join(folder, 'update.html'));
    const { release } = running();
    expect(running()).toMatchObject({ id: before.id, release });
    expect(spare()).toMatchObject({ release: before.release, configuration: before.configuration });
    expect(readFileSync(path.join(folder, 'update.html'), 'utf8')).toContain('The update stays.');

    expect(await estate.ended('boot', name, '--slot', 'spare')).toMatchObject({ decision: 'done', code: 0 });
    expect(running()).toMatchObject({ id: spareOf(before.id), release: before.release });
    expect(await estate.ended('boot', name, '--slot', 'spare')).toMatchObject({ decision: 'done', code: 0 });
    expect(running()).toMatchObject({ id: before.id, release });
  });

  test('slots recover: the running slot holds what the spare holds, and runs it after a restart', async () => {
    const wanted = spare();
    expect(await estate.ended('slots', 'recover', name)).toMatchObject({ decision: 'done', code: 0 });
    expect(running()).toMatchObject({ release: wanted.release, configuration: wanted.configuration });
    const boots = estate.control(name).bootCount;
    const done = await estate.ended('restart', name);
    expect(done).toMatchObject({ decision: 'done', code: 0 });
    expect(done.reason).toContain(wanted.release);
    expect(estate.control(name).bootCount).toBe(boots + 1);
  });

  test('restore: a whole capture comes back, byte for byte', async () => {
    const [id, was] = [await capture(), running()];
    const files = [...estate.control(name).configuration(was.id)];
    await estate.updateWell(name);
    const { release } = running();
    expect(running().configuration).not.toBe(was.configuration);
    const done = await estate.ended('restore', name, id);
    expect(done, done.reason).toMatchObject({ decision: 'kept', code: 0 });
    expect(running().release).toBe(release);
    const now = estate.control(name).configuration(running().id);
    for (const [file, bytes] of files) expect(sha256(now.get(file)!), file).toBe(sha256(bytes));
    const standing = dataOf<DeviceStanding[]>(await estate.run('archive', 'status'));
    expect(standing.find(({ device }) => device === name)?.lastRestored?.id).toBe(id);
    const unknown = await estate.say('restore', name, 'no-such-capture');
    expect(unknown.code).toBe(3);
    expect(unknown.stderr).toContain('no-such-capture');
  });

  test('boot of a slot that is neither running nor spare is bad input', async () => {
    const answer = await estate.say('boot', name, '--slot', '7');
    expect(answer.code).toBe(3);
    expect(answer.stderr.trimEnd().split('\n')).toHaveLength(1);
  });

  test('shutdown: the device is off, and answers again when its power is switched', async () => {
    expect(await estate.ended('shutdown', name)).toMatchObject({ decision: 'done', code: 0 });
    expect(estate.control(name).phase).toBe('off');
    estate.control(name).powerCycle();
    await estate.control(name).reach('up');
    expect(await estate.ended('reading', name)).toMatchObject({ decision: 'done' });
  });
});

describe('Afterwards', () => {
  interface Listed {
    readonly id: string;
    readonly procedure: string;
    readonly decision: string;
  }

  test('runs lists them, newest first; report shows each again, in every form', async () => {
    const listed = dataOf<Listed[]>(await estate.run('runs', name, '--most', '100'));
    expect(new Set(listed.map((run) => run.procedure))).toEqual(
      new Set(['capture', 'reading', 'keep', 'update', 'boot', 'recover', 'restart', 'restore', 'shutdown']),
    );
    expect(listed.map((run) => run.id)).toEqual(
      listed
        .map((run) => run.id)
        .sort()
        .reverse(),
    );
    const { id } = listed.find((run) => run.procedure === 'update')!;
    const shown = await estate.say('report', id);
    expect(shown.stdout).toContain('The update stays.');
    for (const form of ['html', 'json', 'txt']) {
      const file = path.join(estate.folder, 'again', `report.${form}`);
      expect((await estate.say('report', id, '--write', file)).code).toBe(0);
      expect(readFileSync(file, 'utf8')).toContain(id);
    }
    expect((await estate.say('report', id, '--write', '/tmp/report.odd')).code).toBe(3);
    const unknown = await estate.say('report', 'no-such-run');
    expect([unknown.code, unknown.stderr]).toEqual([3, expect.stringContaining('no-such-run')]);
    const ended = await estate.say('resume', id, '--keep');
    expect([ended.code, ended.stderr]).toEqual([3, expect.stringContaining(id)]);
  });

  test('no secret stands in clear in any file of the data folder, or in anything that was printed', () => {
    const { upkeepWord, key } = estate.access(name);
    const keyLines = readFileSync(key, 'utf8')
      .split('\n')
      .filter((line) => line.length > 20 && !line.startsWith('-----'));
    // Words that stand in the device's configuration, so in every capture.
    const system = Buffer.from(
      estate.control(name).configuration(running().id).get('system.conf')!,
    ).toString();
    const kept = [.../^(?:community|secret-digest) = (\S+)$/gmu[Symbol.matchAll](system)].map(
      ([, word]) => word!,
    );
    expect(kept.length).toBeGreaterThan(1);
    const secrets = [upkeepWord, ...keyLines, ...kept];
    // The search finds what is there.
    expect(estate.filesHolding(name).length).toBeGreaterThan(0);
    for (const secret of secrets) {
      expect(estate.filesHolding(secret)).toEqual([]);
      expect(estate.printed.includes(secret)).toBe(false);
    }
    expect(existsSync(path.join(estate.data, 'reports'))).toBe(true);
  });
});

const spareOf = (id: string) => (id === '1' ? '2' : '1');
const sha256 = (bytes: Uint8Array) => createHash('sha256').update(bytes).digest('hex');
