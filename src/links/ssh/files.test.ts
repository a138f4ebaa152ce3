import { createHash, randomBytes } from 'node:crypto';
import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { TuckpointError } from '#core/errors';
import { hasSshd, type RealSshd, scriptedServer, startSshd } from '../fixture/index.ts';
import { connectSsh, offerOverHttp, ScpFiles, SftpFiles, type SshConnection } from './index.ts';

const thrown = (work: Promise<unknown>): Promise<TuckpointError> =>
  work.then(
    () => {
      throw new Error('nothing was thrown');
    },
    (error: TuckpointError) => error,
  );
const sha256 = (file: string) => createHash('sha256').update(readFileSync(file)).digest('hex');

describe.skipIf(!hasSshd).each([
  ['SFTP', (connection: SshConnection) => new SftpFiles(connection)],
  ['SCP', (connection: SshConnection) => new ScpFiles(connection)],
])('files by %s with OpenSSH', (protocol, make) => {
  const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-files-'));
  const far = join(folder, 'far');
  let sshd: RealSshd;
  let connection: SshConnection;
  beforeAll(async () => {
    sshd = await startSshd(join(folder, 'ssh'), '/bin/true');
    const target = { name: 'fw1', address: '127.0.0.1', port: sshd.port, user: sshd.user, hostKey: null };
    connection = await connectSsh(target, { privateKey: sshd.privateKey }, async () => undefined, 10);
    mkdirSync(join(far, 'deep/er'), { recursive: true });
    writeFileSync(join(far, 'b.conf'), 'b\n');
    writeFileSync(join(far, 'a.conf'), Buffer.from([0, 10, 13, 255]));
    writeFileSync(join(far, 'empty'), '');
    writeFileSync(join(far, 'deep/er/c.conf'), 'c');
  });
  afterAll(async () => {
    connection.close();
    await sshd.stop();
    rmSync(folder, { recursive: true, force: true });
  });

  it('sends megabytes unchanged, and says how far it is', async () => {
    const local = join(folder, 'image');
    writeFileSync(local, randomBytes(3_000_001));
    const moved: number[] = [];
    await make(connection).sendFile(local, join(folder, 'sent'), 3_000_001, 20, (done) => moved.push(done));
    expect(sha256(join(folder, 'sent'))).toBe(sha256(local));
    expect(moved.length).toBeGreaterThan(2);
    expect(moved.at(-1)).toBe(3_000_001);
  });

  it('sends an empty file', async () => {
    await make(connection).sendBytes(join(folder, 'nothing'), new Uint8Array(), 20);
    expect(readFileSync(join(folder, 'nothing'))).toHaveLength(0);
  });

  it('reads a folder: bytes unchanged, names relative, in name order, only what is wanted', async () => {
    const files = await make(connection).readFolder(far, () => true, 20);
    expect(files.map(({ name }) => name)).toEqual(['a.conf', 'b.conf', 'deep/er/c.conf', 'empty']);
    expect([...files[0]!.bytes]).toEqual([0, 10, 13, 255]);
    expect(
      (await make(connection).readFolder(far, (name) => name.startsWith('deep'), 20)).map(({ name }) => name),
    ).toEqual(['deep/er/c.conf']);
  });

  it('says that a folder or a target is not there', async () => {
    for (const work of [
      () => make(connection).readFolder(join(folder, 'missing'), () => true, 20),
      () => make(connection).sendBytes(join(folder, 'missing/file'), new Uint8Array(5), 20),
    ]) {
      const error = await thrown(work());
      expect(error.code).toBe('links/transfer-failed');
      expect(error.message).toContain(join(folder, 'missing'));
      expect(error.message.toLowerCase()).toMatch(/no such file|has no/u);
    }
  });

  it('says that the file of the workbench is not there', async () => {
    const error = await thrown(make(connection).sendFile(join(folder, 'no-image'), join(folder, 'x'), 1, 20));
    expect(error.code).toBe('links/cannot-read');
  });

  if (protocol === 'SCP')
    it('says that the disk is full', async () => {
      // /dev/full answers every write with ENOSPC: full(4).
      const error = await thrown(make(connection).sendBytes('/dev/full', randomBytes(100_000), 20));
      expect(error.code).toBe('links/no-space');
      expect(error.message).toContain('No space left on device');
    });

  if (protocol === 'SFTP')
    it('makes a folder empty, and leaves what links in it point to', async () => {
      const sftp = new SftpFiles(connection);
      const scratch = join(folder, 'scratch/below');
      await sftp.makeFolder(scratch);
      mkdirSync(join(scratch, 'old'));
      writeFileSync(join(scratch, 'old/file'), 'x');
      symlinkSync(far, join(scratch, 'link'));
      await sftp.emptyFolder(scratch);
      expect(readdirSync(scratch)).toEqual([]);
      expect(readdirSync(far)).toContain('a.conf');
    });
});

describe('a transfer that stands still', () => {
  it('ends with a timeout, and the connection with it', async () => {
    const server = await scriptedServer({ silentSftp: true });
    const target = { name: 'fw1', address: '127.0.0.1', port: server.port, user: 'u', hostKey: null };
    const connection = await connectSsh(target, {}, async () => undefined, 5);
    const error = await thrown(new SftpFiles(connection).sendBytes('/incoming/x', new Uint8Array(10), 0.3));
    expect(error.code).toBe('links/timeout');
    expect(connection.open).toBe(false);
    await server.stop();
  });
});

describe('a file offered over HTTP', () => {
  it('is served under its own path only, and no longer than the pull lasts', async () => {
    let taken = '';
    const moved: number[] = [];
    const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-http-'));
    const path = join(folder, 'image');
    writeFileSync(path, randomBytes(300_000));
    await offerOverHttp(
      '127.0.0.1',
      'image one',
      { path, size: 300_000 },
      async (url) => {
        taken = url;
        expect(new URL(url).pathname).toMatch(/^\/[0-9a-f]{32}\/image%20one$/u);
        const body = Buffer.from(await (await fetch(url)).arrayBuffer());
        expect(createHash('sha256').update(body).digest('hex')).toBe(sha256(path));
        expect((await fetch(new URL('/', url))).status).toBe(404);
        expect((await fetch(new URL('/image', url))).status).toBe(404);
        expect((await fetch(url, { method: 'PUT', body: 'x' })).status).toBe(404);
        expect((await fetch(url, { method: 'HEAD' })).headers.get('content-length')).toBe('300000');
      },
      (done) => moved.push(done),
    );
    expect(moved.at(-1)).toBe(300_000);
    await expect(fetch(taken)).rejects.toThrow();
    rmSync(folder, { recursive: true });
  });

  it('is withdrawn when the pull fails, and the failure is the one of the pull', async () => {
    let taken = '';
    const failure = new Error('the device has no curl');
    const offer = offerOverHttp('127.0.0.1', 'x', { bytes: new Uint8Array(3) }, async (url) => {
      taken = url;
      throw failure;
    });
    await expect(offer).rejects.toBe(failure);
    await expect(fetch(taken)).rejects.toThrow();
  });

  it('at an address that is not the workbench’s is refused', async () => {
    // RFC 5737: no host has this address.
    const error = await thrown(
      offerOverHttp('192.0.2.1', 'x', { bytes: new Uint8Array(1) }, async () => undefined),
    );
    expect(error.code).toBe('links/transfer-failed');
  });
});
