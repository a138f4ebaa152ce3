import { mkdtempSync, rmSync } from 'node:fs';
import { type AddressInfo, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { TuckpointError } from '#core/errors';
import { hasSshd, type RealSshd, startSshd } from '../fixture/index.ts';
import { connectSsh, type SshSecrets } from './index.ts';

const thrown = (work: Promise<unknown>): Promise<TuckpointError> =>
  work.then(
    () => {
      throw new Error('nothing was thrown');
    },
    (error: TuckpointError) => error,
  );

describe.skipIf(!hasSshd)('a login at OpenSSH', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tuckpoint-login-'));
  let sshd: RealSshd;
  beforeAll(async () => {
    sshd = await startSshd(folder, '/bin/true');
  });
  afterAll(async () => {
    await sshd.stop();
    rmSync(folder, { recursive: true, force: true });
  });
  const login = async (secrets: SshSecrets, hostKey: string | null = null, pins: string[] = []) => {
    const target = { name: 'gull-quay-fw1', address: '127.0.0.1', port: sshd.port, user: sshd.user, hostKey };
    const connection = await connectSsh(target, secrets, async (pin) => void pins.push(pin), 10);
    connection.close();
    return connection;
  };

  it('pins the host key that ssh-keygen shows, once', async () => {
    const pins: string[] = [];
    await login({ privateKey: sshd.privateKey }, null, pins);
    expect(pins).toEqual([`ssh-ed25519 ${sshd.fingerprint}`]);
    await login({ privateKey: sshd.privateKey }, pins[0]!, pins);
    await login({ privateKey: sshd.privateKey }, sshd.fingerprint, pins);
    expect(pins).toHaveLength(1);
  });

  it('opens a key with its passphrase', async () => {
    await login({ privateKey: sshd.lockedKey, passphrase: 'correct horse' });
  });

  it.each([
    ['no secret at all', () => ({})],
    ['a password where keys are wanted', () => ({ password: 'high tide 1' })],
    ['a locked key without its passphrase', () => ({ privateKey: sshd.lockedKey })],
    [
      'a locked key with a wrong passphrase',
      () => ({ privateKey: sshd.lockedKey, passphrase: 'battery staple' }),
    ],
    [
      'a damaged key',
      () => ({ privateKey: `${sshd.privateKey.slice(0, 120)}\n-----END OPENSSH PRIVATE KEY-----\n` }),
    ],
  ])('with %s is refused in one sentence that holds no secret', async (_, secrets) => {
    const error = await thrown(login(secrets()));
    expect(error.code).toBe('links/auth');
    expect(error.text).not.toMatch(/high tide|battery|BEGIN|b3BlbnNza/u);
    expect(error.text).toContain('gull-quay-fw1');
  });

  it('with a pin of another key sends nothing secret and stops', async () => {
    const pin = `ssh-ed25519 SHA256:${'A'.repeat(43)}`;
    const error = await thrown(login({ privateKey: sshd.privateKey }, pin));
    expect(error.code).toBe('links/host-key-changed');
    expect(error.message).toContain(pin);
    expect(error.message).toContain(sshd.fingerprint);
  });

  it('at a device that no longer has a key of the pinned type stops too', async () => {
    const error = await thrown(login({ privateKey: sshd.privateKey }, `ssh-rsa SHA256:${'A'.repeat(43)}`));
    expect(error.code).toBe('links/host-key-changed');
  });

  it('stops when the key could not be pinned, with the reason of that', async () => {
    const target = { name: 'x', address: '127.0.0.1', port: sshd.port, user: sshd.user, hostKey: null };
    const reason = new Error('the disk is full');
    const pin = () => Promise.reject(reason);
    expect(await thrown(connectSsh(target, { privateKey: sshd.privateKey }, pin, 10))).toBe(reason);
  });

  it('stops when the device changed its key', async () => {
    const before = `ssh-ed25519 ${sshd.fingerprint}`;
    await sshd.changeHostKey();
    expect((await thrown(login({ privateKey: sshd.privateKey }, before))).code).toBe(
      'links/host-key-changed',
    );
  });
});

describe('a connection to nobody', () => {
  const to = (port: number, address = '127.0.0.1', seconds = 1) =>
    connectSsh(
      { name: 'gull-quay-fw1', address, port, user: 'u', hostKey: null },
      {},
      async () => undefined,
      seconds,
    );

  it('says that the port is closed', async () => {
    const server = createServer().listen(0, '127.0.0.1');
    await new Promise((resolve) => server.once('listening', resolve));
    const { port } = server.address() as AddressInfo;
    await new Promise((resolve) => server.close(resolve));
    const error = await thrown(to(port));
    expect(error.code).toBe('links/unreachable');
    expect(error.message).toBe(`gull-quay-fw1 cannot be reached at 127.0.0.1:${port}: the port is closed.`);
  });

  it.each([
    ['that says nothing', () => undefined],
    [
      'that speaks another protocol',
      (socket: import('node:net').Socket) => socket.end('HTTP/1.1 400 Bad Request\r\n\r\n'),
    ],
    ['that hangs up', (socket: import('node:net').Socket) => socket.destroy()],
  ])('at a port %s is unreachable', async (_, behave) => {
    const server = createServer((socket) => {
      socket.on('error', () => undefined);
      behave(socket);
    }).listen(0, '127.0.0.1');
    await new Promise((resolve) => server.once('listening', resolve));
    const error = await thrown(to((server.address() as AddressInfo).port));
    expect(error.code).toBe('links/unreachable');
    server.close();
  });

  it('by a name that does not exist is unreachable', async () => {
    // RFC 6761 section 6.4: names under "invalid" never resolve.
    expect((await thrown(to(22, 'fw1.invalid', 5))).code).toBe('links/unreachable');
  });
});
