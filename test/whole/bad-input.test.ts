import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import ssh2 from 'ssh2';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { careOf, Estate } from './estate.ts';
import { type Answer, dataOf, type RunAnswer } from './workbench.ts';

/** What goes wrong in a person's day. Each time: one clear sentence, the right exit code, device and store sound. */
const [one, two] = ['gull-quay-fw1', 'gull-quay-fw2'];
let estate: Estate;
beforeAll(async () => {
  estate = await Estate.start([one, two]);
});
afterAll(() => estate.stop());

/** Standard error must be one sentence for a person: one line, no stack. */
function sentence(answer: Answer): string {
  const lines = answer.stderr.trimEnd().split('\n');
  expect(lines, answer.stderr).toHaveLength(1);
  expect(answer.stderr).not.toMatch(/\bat .*:\d+:\d+|node_modules|fault in Tuckpoint/u);
  return lines[0]!;
}

describe('A device that cannot be reached', () => {
  test('is named with its address; nothing was done', async () => {
    estate.control(one).powerCycle();
    const { port } = estate.access(one);
    await estate.control(one).reach('up');
    estate.control(one).unreachableFor(600_000);
    for (const command of [
      ['reading', one],
      ['capture', one],
      ['slots', one],
    ]) {
      const answer = await estate.say(...command);
      expect(sentence(answer)).toContain(`127.0.0.1:${port}`);
      expect(answer.code).toBe(4);
    }
    estate.control(one).unreachableFor(0);
    await expect.poll(async () => (await estate.say('reading', one)).code).toBe(0);
  });
});

describe('A login that is not accepted', () => {
  test('with another key says that the device did not take it', async () => {
    const { private: strange } = ssh2.utils.generateKeyPairSync('ed25519');
    const care = { ...careOf(estate.access(two)), name: 'stranger' };
    await estate.add({ ...care, keyFile: estate.file('strange-key', strange) });
    const answer = await estate.say('reading', 'stranger');
    expect(sentence(answer)).toMatch(/keeper.*(key|login)/u);
    expect(answer.code).toBe(4);
    expect((await estate.say('device', 'remove', 'stranger')).code).toBe(0);
  });

  test('with the wrong upkeep word changes nothing', async () => {
    const care = { ...careOf(estate.access(two)), name: 'forgetful', secrets: { upkeep: 'not the word' } };
    await estate.add(care);
    const slots = estate.control(two).slots();
    const answer = await estate.say('slots', 'keep', 'forgetful');
    expect(sentence(answer)).toContain('not the upkeep word');
    expect(answer.code).toBe(4);
    expect(estate.control(two).slots()).toEqual(slots);
    await estate.say('device', 'remove', 'forgetful');
  });

  test('and a key file that is not there, are told apart', async () => {
    const { address, user, handbook } = estate.access(two);
    const to = ['--address', address, '--user', user, '--handbook', handbook, '--key-file', '/nowhere/key'];
    const answer = await estate.say('device', 'add', 'keyless', ...to);
    expect(sentence(answer)).toContain('/nowhere/key');
    expect(answer.code).toBe(3);
  });
});

describe('A changed host key', () => {
  test('stops everything, until a person says that it may have changed', async () => {
    const { sheet } = await estate.release(two);
    await estate.say('capture', two);
    const log = estate.control(two).log().length;
    const fingerprint = estate.control(two).changeHostKey();
    const commands = [
      ['capture', two],
      ['reading', two],
      ['slots', two],
      ['slots', 'keep', two],
      ['restart', two],
      ['update', two, '--to', sheet],
    ];
    for (const command of commands) {
      const answer = await estate.say(...command);
      const said = sentence(answer);
      expect(said).toContain(fingerprint);
      expect(said).toContain(`tuckpoint device forget-host-key ${two}`);
      expect(answer.code).toBe(4);
    }
    expect(estate.control(two).log()).toHaveLength(log);
    expect((await estate.say('device', 'forget-host-key', two)).code).toBe(0);
    expect((await estate.say('reading', two)).code).toBe(0);
    const listed = dataOf<{ name: string; hostKey: string }[]>(await estate.run('device', 'list'));
    expect(listed.find((device) => device.name === two)?.hostKey).toBe(`ssh-ed25519 ${fingerprint}`);
  });
});

describe('Firmware', () => {
  /** The update must be refused before anything is written, with exit code 3. */
  async function refused(sheet: string): Promise<string> {
    const log = estate.control(one).log().length;
    const answer = await estate.say('update', one, '--to', sheet);
    expect(answer.code).toBe(3);
    expect(estate.control(one).log()).toHaveLength(log);
    return sentence(answer);
  }

  test('for another model is refused before anything is touched', async () => {
    const { sheet } = await estate.release(one, { models: ['Groyne 200'] });
    expect(await refused(sheet)).toMatch(/does not fit.*Groyne 200.*Groyne 40/u);
  });

  test('older than the one that runs, or that wants to come from a newer one, is refused', async () => {
    const older = await estate.release(one, { release: '3.0.0' });
    expect(await refused(older.sheet)).toMatch(/does not fit.*3\.0\.0/u);
    const far = await estate.release(one, { from: '8.0.0' });
    expect(await refused(far.sheet)).toMatch(/does not fit.*8\.0\.0/u);
  });

  test('that is cut short is told by its size', async () => {
    const { path: file, sheet, size } = await estate.release(one);
    writeFileSync(file, readFileSync(file).subarray(0, 1000));
    const said = await refused(sheet);
    expect(said).toContain(file);
    expect(said).toMatch(new RegExp(`1000 bytes.*${size}.*cut short`, 'u'));
  });

  test('with one bit turned is told by its digest', async () => {
    const { path: file, sheet, sha256 } = await estate.release(one);
    const bytes = readFileSync(file);
    bytes[bytes.length >> 1]! ^= 1;
    writeFileSync(file, bytes);
    const said = await refused(sheet);
    expect(said).toContain(file);
    expect(said).toContain(sha256);
  });

  test('without a file, without a sheet, or with a sheet that is none, is told with the place', async () => {
    const { path: file } = await estate.release(one);
    expect(await refused('/nowhere/4.9.0.img')).toContain('/nowhere/4.9.0.img.sheet.yaml');
    const noFile = estate.file('alone.sheet.yaml', readFileSync(`${file}.sheet.yaml`, 'utf8'));
    expect(await refused(noFile)).toContain(path.join(path.dirname(noFile), path.basename(file)));
    const noSheet = estate.file('odd.sheet.yaml', 'release: 4.9.0\nmodels: [Groyne 40\n');
    expect(await refused(noSheet)).toMatch(/odd\.sheet\.yaml:\d/u);
    const lacking = estate.file('lacking.sheet.yaml', 'release: 4.9.0\nmodels: [Groyne 40]\n');
    expect(await refused(lacking)).toMatch(/lacking\.sheet\.yaml.*files/u);
  });

  test.each([
    ['signed-by-a-stranger', 'signature'],
    ['member-altered', 'digest'],
    ['cut-short', 'cut short'],
  ] as const)(
    '%s, with a sheet that matches, is refused by the device, and the slots stay',
    async (flaw, word) => {
      const before = estate.runs(one);
      const boots = estate.control(one).bootCount;
      const { sheet } = await estate.release(one, { flaw });
      const answer = await estate.say('update', one, '--to', sheet);
      const said = sentence(answer);
      expect(said).toMatch(/refused/u);
      expect(said).toContain(word);
      expect(answer.code).toBe(3);
      expect(estate.runs(one)).toEqual(before);
      expect(estate.control(one).bootCount).toBe(boots);
    },
  );

  test('of a sound kind still goes in afterwards, and the spare boots', async () => {
    await estate.updateWell(one);
    const booted = await estate.ended('boot', one, '--slot', 'spare');
    expect(booted.decision).toBe('done');
  });
});

describe('A full disk on the device', () => {
  test('is found before the file is sent; with room again the update goes in', async () => {
    const before = estate.control(one).slots();
    estate.control(one).fault({ kind: 'disk-full' });
    const { sheet } = await estate.release(one);
    const answer = await estate.say('update', one, '--to', sheet);
    expect(sentence(answer)).toMatch(/no space|not enough|room/iu);
    expect(answer.code).toBe(4);
    expect(estate.runs(one)).toEqual(before.find((slot) => slot.running));
    estate.control(one).clearFaults();
    await estate.updateWell(one);
  });
});

describe('A power loss on the device', () => {
  for (const operation of ['keep', 'install'] as const) {
    test.each(['before', 'half', 'after'] as const)(
      `in ${operation} (%s it took effect) does not stop the update`,
      async (at) => {
        const { release, sheet } = await estate.release(two);
        estate.control(two).losePowerDuring(operation, at);
        const done = await estate.ended('update', two, '--to', sheet);
        expect(done).toMatchObject({ decision: 'kept', code: 0 });
        expect(estate.control(two).log()).toContainEqual(expect.stringContaining('power went'));
        expect(estate.runs(two).release).toBe(release);
      },
    );
  }
});

describe('A handbook with an error', () => {
  const broken = () =>
    estate.file(
      'broken.yaml',
      readFileSync(path.join('handbooks', 'groyne-two-slot.yaml'), 'utf8').replace('slots: 2', 'slots: many'),
    );

  test('is told with file and line, and the device is not touched', async () => {
    const handbook = broken();
    const line = readFileSync(handbook, 'utf8').split('\n').indexOf('slots: many') + 1;
    await estate.add({ ...careOf(estate.access(two)), name: 'mistaken', handbook });
    for (const command of [
      ['reading', 'mistaken'],
      ['slots', 'mistaken'],
      ['slots', 'keep', 'mistaken'],
    ]) {
      const answer = await estate.say(...command);
      expect(sentence(answer)).toContain(`${handbook}:${line}`);
      expect(answer.code).toBe(3);
    }
    const checked = await estate.say('handbook', 'check', handbook);
    expect(checked.stdout).toContain(`${handbook}:${line}`);
    expect(checked.code).toBe(3);
    await estate.say('device', 'remove', 'mistaken');
  });

  test('or without a file at all, too', async () => {
    await estate.add({ ...careOf(estate.access(two)), name: 'mistaken', handbook: '/nowhere/kind.yaml' });
    const answer = await estate.say('reading', 'mistaken');
    expect(sentence(answer)).toContain('/nowhere/kind.yaml');
    expect(answer.code).toBe(3);
    await estate.say('device', 'remove', 'mistaken');
  });
});

describe('An unknown device', () => {
  const commands = [
    'capture',
    'reading',
    'slots',
    'slots keep',
    'restart',
    'boot --slot spare',
    'shutdown',
    'runs',
    'device remove',
    'device forget-host-key',
  ];
  test.each(commands)('is unknown to "%s"', async (command) => {
    const answer = await estate.say(...command.split(' '), 'nobody');
    expect(sentence(answer)).toContain('nobody');
    expect(answer.code).toBe(3);
  });

  test('with --json is one object on standard output', async () => {
    const answer = await estate.run('reading', 'nobody');
    expect(dataOf(answer)).toMatchObject({ error: { code: 'store/unknown-device' } });
    expect(answer.code).toBe(3);
  });
});

describe('A second run on a busy device', () => {
  test.skipIf(process.platform === 'win32')('is turned away, and the first one goes on', async () => {
    const { sheet, release } = await estate.release(one);
    let second: Answer[] = [];
    const first = await estate.watch(['update', one, '--to', sheet], async (event, child) => {
      if (event.kind !== 'step' || event.step !== 'keep' || event.state !== 'started') return;
      // The first process is held in the middle of its work while the others try.
      child.kill('SIGSTOP');
      try {
        second = await Promise.all([estate.say('reading', one), estate.say('restart', one)]);
      } finally {
        child.kill('SIGCONT');
      }
    });
    expect(second).toHaveLength(2);
    for (const answer of second) {
      expect(sentence(answer)).toMatch(new RegExp(`at work on ${one}`, 'u'));
      expect(answer.code).toBe(5);
    }
    expect(dataOf<RunAnswer>(first)).toMatchObject({ decision: 'kept' });
    expect(estate.runs(one).release).toBe(release);
  });
});
