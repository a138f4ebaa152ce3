import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { connect, ShellClient } from './fixture/shell-client.ts';
import { makePracticeImage, type PracticeImage } from './image/make.ts';
import { type Practice, startPractice } from './start.ts';

const folder = mkdtempSync(join(tmpdir(), 'practice-start-'));
const bootMs = 40;
const [forty, two, virtual] = ['gull-quay-fw1', 'north-mole-fw1', 'tidewatch-gate'] as const;
let practice: Practice;
let image: PracticeImage;
const open: ShellClient[] = [];
/** Devices that a test worked on: put back as they were after it. */
const touched = new Set<string>();

const access = (name: string) => practice.devices.find((device) => device.name === name)!;
async function shell(name: string, upkeep = false): Promise<ShellClient> {
  const client = await ShellClient.open(access(name));
  open.push(client);
  if (upkeep) touched.add(name);
  if (upkeep) await client.enterUpkeep(access(name).upkeepWord);
  return client;
}
const releases = (name: string) =>
  practice
    .device(name)
    .slots()
    .map((slot) => `${slot.id} ${slot.release}${slot.running ? ' runs' : ''}${slot.next ? ' next' : ''}`);

beforeAll(async () => {
  practice = await startPractice({ folder, bootMs, only: [forty, two, 'north-mole-fw2', virtual] });
  image = await makePracticeImage({
    out: join(folder, 'images', 'g40.rel'),
    release: '4.2.0',
    models: ['Groyne 40'],
  });
});
afterEach(async () => {
  for (const client of open.splice(0)) client.close();
  for (const name of touched) {
    practice.device(name).redeploy();
    await practice.device(name).reach('up');
  }
  touched.clear();
});
afterAll(async () => {
  await practice.stop();
  rmSync(folder, { recursive: true, force: true });
});

describe('a practice device', () => {
  it('says that it is simulated: before login, at login, and when asked who it is', async () => {
    const client = await connect(access(forty), { by: 'password' });
    client.end();
    expect(await (await shell(forty)).say('tell identity')).toContain('practice device, simulated');
  });

  it('lets nobody in with a wrong password', async () => {
    await expect(connect(access(forty), { by: 'password', password: 'wrong' })).rejects.toThrow(
      'authentication',
    );
  });

  it('shows a page of 24 lines at a time', async () => {
    const client = await shell(forty);
    const first = await client.say('tell configuration', /q stops\]$/);
    // The echoed line, 24 lines, the pager.
    expect(first.split('\r\n')).toHaveLength(26);
    const second = await client.press(' ', /q stops\]$/);
    expect(second.split('\r\n')).toHaveLength(25);
    expect(await client.press('q', /~ $/)).not.toContain('q stops');
  });

  it('does nothing outside upkeep, and enters it with the upkeep word only', async () => {
    const client = await shell(forty);
    expect(await client.say('keep')).toContain('refused: that needs upkeep');
    expect(await client.enterUpkeep('wrong')).toContain('refused: that is not the upkeep word');
    expect(await client.enterUpkeep(access(forty).upkeepWord)).toMatch(/! $/);
    expect(await client.say('leave upkeep')).toMatch(/~ $/);
  });

  it('does nothing when the person does not confirm', async () => {
    const client = await shell(forty, true);
    await client.say('keep', /\(yes\/no\) $/);
    expect(await client.say('no')).toContain('refused: not confirmed');
    expect(releases(forty)).toEqual(['1 4.1.3 runs next', '2 4.0.9']);
  });
});

// Common practice, no source: an install in place changes the running slot's release; a copy takes the pair whole.
describe('a device that installs in place', () => {
  it('keeps the former pair in the spare when it is copied first, and boots the new release', async () => {
    const before = practice.device(forty).configuration('1');
    const client = await shell(forty, true);
    await client.put(image.path, '/incoming/g40.rel');
    expect(await client.say('tell digest g40.rel')).toContain(`sha256=${image.sha256}`);
    await client.confirm('keep');
    await client.confirm('take release /incoming/g40.rel');
    expect(releases(forty)).toEqual(['1 4.2.0 runs next', '2 4.1.3']);
    expect(await client.say('tell identity')).toContain('release: 4.1.3');

    await client.confirm('restart');
    await practice.device(forty).reach('booting');
    await practice.device(forty).reach('up');
    expect(await (await shell(forty)).say('tell identity')).toContain('release: 4.2.0');
    expect(practice.device(forty).configuration('2')).toEqual(before);
    expect(String(practice.device(forty).configuration('1').get('policy.nft'))).toContain(
      '# Written by release 4.2.0.',
    );
  });

  it('goes back by booting the spare, and by copying it over', async () => {
    const client = await shell(forty, true);
    await client.confirm('boot slot 2');
    await practice.device(forty).reach('booting');
    await practice.device(forty).reach('up');
    expect(releases(forty)).toEqual(['1 4.1.3', '2 4.0.9 runs next']);
    await (await shell(forty, true)).confirm('recover');
    expect(releases(forty)).toEqual(['1 4.1.3', '2 4.1.3 runs next']);
  });
});

describe('a device that installs into the spare slot', () => {
  it('fetches the release itself, and boots the other slot next', async () => {
    const made = await makePracticeImage({
      out: join(folder, 'g200.rel'),
      release: '7.3.0',
      models: ['Groyne 200'],
    });
    const server = createServer((request, answer) => {
      if (request.url === '/g200.rel') answer.end(readFileSync(made.path));
      else answer.writeHead(404).end();
    }).listen(0, '127.0.0.1');
    await new Promise((done) => server.once('listening', done));
    const url = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
    const client = await shell(two, true);
    expect(await client.say(`fetch ${url}/absent as x.rel`)).toContain('refused: ');
    expect(await client.say(`fetch ${url}/g200.rel as g200.rel`)).toContain(`sha256=${made.sha256}`);
    server.close();
    await client.confirm('take release g200.rel');
    expect(releases(two)).toEqual(['1 7.2.1 runs', '2 7.3.0 next']);
    await client.confirm('restart');
    await practice.device(two).reach('booting');
    await practice.device(two).reach('up');
    expect(releases(two)).toEqual(['1 7.2.1', '2 7.3.0 runs next']);
  });

  it('leads its pair again only while the first half is away', async () => {
    const second = await shell('north-mole-fw2');
    expect(await second.say('tell health')).toContain('pair peer=north-mole-fw1 role=follows');
    practice.device(two).unreachableFor(60_000);
    expect(await second.say('tell health')).toMatch(/role=leads[\s\S]*alarm north-mole-fw1 does not answer/);
  });
});

describe('a device with one slot', () => {
  it('has no spare to copy to', async () => {
    const client = await shell(virtual, true);
    expect(await client.say('tell slots')).toContain('slot 1 release=2.6.0');
    expect(await client.confirm('keep')).toContain('refused: this model has one slot');
  });
});

describe('a configuration that is loaded', () => {
  it('replaces the running one and raises an alarm when the device must restart for it', async () => {
    const client = await shell(forty, true);
    const files = practice.device(forty).configuration('1');
    const changed = String(files.get('system.conf')).replace('keep-days = 30', 'keep-days = 31');
    const sftp = await client.sftp();
    await new Promise<void>((done) => sftp.mkdir('/incoming/config', () => done()));
    for (const [name, bytes] of [...files, ['system.conf', Buffer.from(changed)] as const]) {
      writeFileSync(join(folder, name), bytes);
      await client.put(join(folder, name), `/incoming/config/${name}`);
    }
    expect(await client.confirm('load configuration /incoming/config')).toContain('done');
    expect(String(practice.device(forty).configuration('1').get('system.conf'))).toBe(changed);
    expect(await client.say('tell health')).toContain('alarm system.conf differs');
  });

  it('goes away by itself when a return is armed and nobody cancels', async () => {
    const before = practice.device(forty).configuration('1');
    const client = await shell(forty, true);
    await client.say('return in 1');
    const sftp = await client.sftp();
    await new Promise<void>((done) => sftp.mkdir('/incoming/other', () => done()));
    writeFileSync(join(folder, 'policy.nft'), 'table inet empty {\n}\n');
    await client.put(join(folder, 'policy.nft'), '/incoming/other/policy.nft');
    writeFileSync(join(folder, 'system.conf'), before.get('system.conf')!);
    await client.put(join(folder, 'system.conf'), '/incoming/other/system.conf');
    await client.confirm('load configuration other');
    expect(practice.device(forty).configuration('1')).not.toEqual(before);
    while (
      !practice
        .device(forty)
        .log()
        .some((line) => line.includes('nobody cancelled'))
    ) {
      await new Promise((done) => setTimeout(done, 20));
    }
    expect(practice.device(forty).configuration('1')).toEqual(before);
  });
});

// Source: the programs ssh, sftp and ssh-keygen of OpenSSH.
const openSsh = ['ssh', 'sftp', 'ssh-keygen'].every(
  (program) => spawnSync(program, ['-?']).error === undefined,
);
describe.runIf(openSsh)('OpenSSH', () => {
  const options = (name: string) => {
    const known = join(folder, 'known_hosts');
    return [
      '-F',
      'none',
      '-i',
      access(name).key,
      '-o',
      `UserKnownHostsFile=${known}`,
      '-o',
      'StrictHostKeyChecking=accept-new',
      '-o',
      'BatchMode=yes',
    ];
  };
  it('talks to the shell, takes files with sftp, and sees the host key that was announced', async () => {
    const device = access(forty);
    const at = `${device.user}@${device.address}`;
    const said = await run('ssh', [...options(forty), '-T', '-p', `${device.port}`, at], 'tell slots\nbye\n');
    expect(said.text).toContain('slot 1 release=4.1.3');
    expect(said.text).toContain('practice device, simulated');
    expect(said.status).toBe(0);

    const batch = `get -r /config ${join(folder, 'taken')}\nput ${image.path} /incoming/a.rel\nls -l /incoming\n`;
    const moved = await run('sftp', [...options(forty), '-b', '-', '-P', `${device.port}`, at], batch);
    expect(moved.text).toContain(`${image.size} a.rel`);
    for (const [name, bytes] of practice.device(forty).configuration('1')) {
      expect(readFileSync(join(folder, 'taken', name))).toEqual(bytes);
    }
    const shown = execFileSync('ssh-keygen', ['-lf', join(folder, 'known_hosts')], { encoding: 'utf8' });
    expect(shown).toContain(device.hostKey);
  });

  it('stops at a changed host key', async () => {
    practice.device(forty).changeHostKey();
    const device = access(forty);
    const at = `${device.user}@${device.address}`;
    const said = await run('ssh', [...options(forty), '-T', '-p', `${device.port}`, at], 'bye\n');
    expect(said.status).toBe(255);
    expect(said.text).toContain('HOST IDENTIFICATION HAS CHANGED');
  });

  it.skipIf(process.platform === 'win32')('has a private key that only its owner reads', () => {
    expect(statSync(access(forty).key).mode & 0o077).toBe(0);
  });
});

/** Runs a program and gives all that it said. Not in the way of the devices, which live in this process. */
async function run(program: string, args: string[], input: string) {
  const child = spawn(program, args, { stdio: 'pipe' });
  let text = '';
  for (const stream of [child.stdout, child.stderr]) stream.on('data', (bytes) => (text += bytes));
  child.stdin.end(input);
  const status = await new Promise<number | null>((done) => child.on('close', done));
  return { status, text };
}
