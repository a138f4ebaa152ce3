import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { connect, Socket } from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import ssh2, { type ConnectConfig } from 'ssh2';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type Archive, freshKey, openArchive } from '#archive';
import { freshToken, tokenDigest } from '../intake/index.ts';
import { type Drop, keyDigest, openDrop } from './index.ts';

let home: string;
let archive: Archive;
let drop: Drop;
let token: string;
let refused: string[];
const LIMIT = 300_000;

beforeEach(async () => {
  home = mkdtempSync(path.join(tmpdir(), 'drop-'));
  archive = await openArchive({ folder: path.join(home, 'archive'), key: await freshKey() });
  token = freshToken();
  refused = [];
  for (const name of ['host', 'device', 'stranger'])
    execFileSync('ssh-keygen', ['-q', '-t', 'ed25519', '-N', '', '-C', '', '-f', path.join(home, name)]);
  const digest = tokenDigest(token);
  const known = keyDigest(readFileSync(path.join(home, 'device.pub'), 'utf8'));
  const options = {
    archive,
    deviceWith: async (asked: string) => (asked === digest ? 'lantern-1' : null),
    deviceWithKey: async (key: string) => (key === known ? 'lantern-2' : null),
    hostKey: readFileSync(path.join(home, 'host'), 'utf8'),
    limit: LIMIT,
    refused: (_: string, error: { code: string }) => void refused.push(error.code),
  };
  drop = await openDrop(options, 0, '127.0.0.1');
});
afterEach(async () => {
  await drop.close();
  await archive.close();
  rmSync(home, { recursive: true, force: true });
});

/** OpenSSH's sftp program as the device, with a key. */
async function sftp(commands: string, key = 'device'): Promise<{ status: number; errors: string }> {
  const options = [
    'StrictHostKeyChecking=no',
    `UserKnownHostsFile=${home}/known`,
    'IdentitiesOnly=yes',
    'BatchMode=yes',
    'LogLevel=ERROR',
  ];
  const args = [
    ...options.flatMap((one) => ['-o', one]),
    '-i',
    path.join(home, key),
    '-P',
    String(drop.port),
  ];
  const child = spawn('sftp', [...args, '-b', '-', 'device@127.0.0.1'], { cwd: home });
  let errors = '';
  child.stderr.on('data', (data) => {
    errors += data;
  });
  child.stdin.end(commands);
  const [status] = (await once(child, 'close')) as [number];
  return { status, errors };
}

/** A session by password, for what OpenSSH's program does not do from a script. */
async function session(password: string, more: Partial<ConnectConfig> = {}): Promise<ssh2.Client> {
  const client = new ssh2.Client();
  const ready = new Promise<void>((resolve, reject) => {
    client.once('ready', () => resolve());
    client.on('error', reject);
  });
  client.connect({ host: '127.0.0.1', port: drop.port, username: 'any', password, ...more });
  await ready;
  return client;
}

async function stored(): Promise<[string, string, string][]> {
  const captures = await Promise.all((await archive.list()).map((record) => archive.get(record.id)));
  return captures.map(({ record, files: [file] }) => [
    record.device,
    file!.name,
    Buffer.from(file!.bytes).toString(),
  ]);
}

describe('the SFTP drop', () => {
  it('takes files from the sftp program of OpenSSH, each as a capture', async () => {
    writeFileSync(path.join(home, 'running.conf'), 'hostname lantern-2\n'.repeat(10_000));
    writeFileSync(path.join(home, 'odd name.xml'), '<x/>');
    const { status, errors } = await sftp('put running.conf\nput "odd name.xml" /backup/today.xml\n');
    expect({ status, errors: errors }).toEqual({
      status: 0,
      errors: '',
    });
    expect(await stored()).toEqual([
      ['lantern-2', 'running.conf', 'hostname lantern-2\n'.repeat(10_000)],
      ['lantern-2', 'backup/today.xml', '<x/>'],
    ]);
  });

  it('keeps a file with a provisional name back until it is renamed', async () => {
    writeFileSync(path.join(home, 'c'), 'whole');
    expect((await sftp('put c backup.conf.part\nrename backup.conf.part backup.conf\n')).status).toBe(0);
    expect(await stored()).toEqual([['lantern-2', 'backup.conf', 'whole']]);
  });

  it('gives nothing back: no file, no list, no shell', async () => {
    writeFileSync(path.join(home, 'c'), 'secret');
    await sftp('put c\n');
    for (const command of ['get c back', 'ls', 'rm c', 'symlink c d'])
      expect(
        (
          await sftp(`${command}
`)
        ).errors,
      ).toMatch(/Permission denied|not found/);
    const client = await session(token);
    await expect(
      new Promise((resolve, reject) => client.exec('id', (error) => (error ? reject(error) : resolve(0)))),
    ).rejects.toThrow();
    client.end();
  });

  it('stores nothing of a file that stops before its end', async () => {
    const client = await session(token);
    const channel = await new Promise<ssh2.SFTPWrapper>((resolve, reject) =>
      client.sftp((e, s) => (e ? reject(e) : resolve(s))),
    );
    await new Promise<void>((resolve, reject) =>
      channel.open('running.conf', 'w', (error, handle) => {
        if (error) reject(error);
        channel.write(handle, Buffer.from('half'), 0, 4, 0, (e) => (e ? reject(e) : resolve()));
      }),
    );
    client.destroy();
    while (refused.length === 0) await new Promise((resolve) => setTimeout(resolve, 10));
    expect(refused).toEqual(['server/half-received']);
    expect(await stored()).toEqual([]);
  });

  it('closes although somebody is connected and says nothing', async () => {
    const silent = new Socket({ allowHalfOpen: true });
    silent.connect(drop.port, '127.0.0.1').resume();
    await once(silent, 'connect');
    await drop.close();
    silent.destroy();
    await expect(session(token)).rejects.toThrow(/ECONNREFUSED/);
  });

  it('gives one address no more than its share, and hears it again when it lets go', async () => {
    const silent = Array.from({ length: 12 }, () =>
      connect(drop.port, '127.0.0.1').on('error', () => undefined),
    );
    await Promise.all(silent.slice(0, 8).map((socket) => once(socket, 'connect')));
    await expect(session(token)).rejects.toThrow();
    for (const socket of silent) socket.destroy();
    await expect
      .poll(() =>
        session(token).then(
          (client) => client.end() !== undefined,
          () => false,
        ),
      )
      .toBe(true);
  });

  it('refuses a file too large, an empty one, and a name that climbs out', async () => {
    writeFileSync(path.join(home, 'large'), Buffer.alloc(LIMIT + 1));
    writeFileSync(path.join(home, 'empty'), '');
    for (const command of ['put large', 'put empty', 'put host.pub ../../x'])
      expect((await sftp(`${command}\n`)).status).not.toBe(0);
    expect(await stored()).toEqual([]);
  });

  it('knows a device by its token, and nobody by another key or token', async () => {
    (await session(token)).end();
    expect((await sftp('put host.pub\n', 'stranger')).status).not.toBe(0);
    for (let i = 0; i < 10; i += 1) await expect(session(`wrong${i}`)).rejects.toThrow(/authentication/);
    // Now this address is not heard, with the right token neither.
    await expect(session(token)).rejects.toThrow(/authentication/);
  });
});
