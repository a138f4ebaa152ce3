import { spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import type { Server } from 'node:http';
import { type AddressInfo, connect } from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { serve } from '@hono/node-server';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type Archive, freshKey, openArchive } from '#archive';
import type { TuckpointError } from '#core/errors';
import { freshToken, intakeRoutes, senderOf, tokenDigest } from './index.ts';

const LIMIT = 200_000;
let home: string;
let archive: Archive;
let server: Server;
let base: string;
let token: string;
let clock: Date;
let refused: string[];

beforeEach(async () => {
  home = mkdtempSync(path.join(tmpdir(), 'intake-'));
  archive = await openArchive({ folder: path.join(home, 'archive'), key: await freshKey() });
  token = freshToken();
  clock = new Date('2026-03-01T03:00:00Z');
  refused = [];
  const digest = tokenDigest(token);
  const app = intakeRoutes({
    archive,
    deviceWith: async (asked) => (asked === digest ? 'gull-quay-1' : null),
    address: (context) => context.req.header('x-test-address') ?? senderOf(context),
    now: () => clock,
    limit: LIMIT,
    refused: (_, error: TuckpointError) => void refused.push(error.code),
  });
  server = serve({ fetch: app.fetch, port: 0, hostname: '127.0.0.1' }) as Server;
  await once(server, 'listening');
  base = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
});
afterEach(async () => {
  server.closeAllConnections();
  server.close();
  await archive.close();
  rmSync(home, { recursive: true, force: true });
});

function fileOf(name: string, content: string | Uint8Array): string {
  const file = path.join(home, name);
  writeFileSync(file, content);
  return file;
}

/** curl as the device: the status and the body of the answer. Runs beside this process, which is the server. */
async function curl(...args: string[]): Promise<{ status: number; body: string }> {
  const child = spawn('curl', ['-sS', '--path-as-is', '-w', '\n%{http_code}', ...args]);
  let out = '';
  child.stdout.on('data', (data) => {
    out += data;
  });
  await once(child, 'close');
  const at = out.lastIndexOf('\n');
  return { status: Number(out.slice(at + 1)), body: out.slice(0, at) };
}

async function stored(): Promise<string[][]> {
  const records = await archive.list();
  const captures = await Promise.all(records.map((record) => archive.get(record.id)));
  return captures.map(({ files }) =>
    files.flatMap(({ name, bytes }) => [name, Buffer.from(bytes).toString('latin1')]),
  );
}

describe('a device delivers its backup', () => {
  it('by PUT, with a bearer token (RFC 9110 section 9.3.4, RFC 6750)', async () => {
    const file = fileOf('running.conf', 'hostname gull-quay-1\n');
    const answer = await curl(
      '-T',
      file,
      '-H',
      `Authorization: Bearer ${token}`,
      `${base}/deliver/flash/running.conf`,
    );
    expect(answer.status).toBe(201);
    expect(await stored()).toEqual([['flash/running.conf', 'hostname gull-quay-1\n']]);
    expect((await archive.list())[0]).toMatchObject({
      id: JSON.parse(answer.body).id,
      device: 'gull-quay-1',
      at: '2026-03-01T03:00:00.000Z',
      source: 'delivery',
    });
  });

  it('by PUT in chunks of unknown length, with Basic (RFC 9112 section 7.1, RFC 7617)', async () => {
    const file = fileOf('x.bin', new Uint8Array([0, 1, 254, 255]));
    const args = ['-T', file, '-H', 'Transfer-Encoding: chunked', '-u', `anyone:${token}`];
    expect((await curl(...args, `${base}/deliver/x.bin`)).status).toBe(201);
    expect(await stored()).toEqual([['x.bin', '\x00\x01\xfe\xff']]);
  });

  it('by POST of the bare bytes to a secret address', async () => {
    const file = fileOf('x', 'opaque');
    const args = ['--data-binary', `@${file}`, '-H', 'Content-Type: application/octet-stream'];
    expect((await curl(...args, `${base}/drop/${token}`)).status).toBe(201);
    expect((await curl(...args, `${base}/drop/${token}/today.bak`)).status).toBe(201);
    expect(await stored()).toEqual([
      ['configuration', 'opaque'],
      ['today.bak', 'opaque'],
    ]);
  });

  it('by POST of a form with several files (RFC 7578), fields of the form left aside', async () => {
    const a = fileOf('running.conf', 'a');
    const b = fileOf('zertifikat größe.pem', 'b');
    const args = ['-F', `one=@${a}`, '-F', `two=@${b}`, '-F', 'comment=weekly', '-u', `x:${token}`];
    expect((await curl(...args, `${base}/deliver`)).status).toBe(201);
    expect(await stored()).toEqual([['running.conf', 'a', 'zertifikat größe.pem', 'b']]);
  });

  it('twice in the same instant, and once after its clock went backwards: all three are there', async () => {
    for (const content of ['one', 'two']) await curl('-d', content, `${base}/drop/${token}`);
    clock = new Date('2026-02-28T03:00:00Z');
    await curl('-d', 'three', `${base}/drop/${token}`);
    expect((await stored()).map((capture) => capture[1]).sort()).toEqual(['one', 'three', 'two']);
    expect(new Set((await archive.list()).map((record) => record.id)).size).toBe(3);
  });

  it('as a zip bomb: the bytes are kept, and never unpacked', async () => {
    const bomb = fileOf(
      'backup.tar.gz',
      spawnSync('gzip', ['-9'], { input: Buffer.alloc(100 << 20) }).stdout,
    );
    expect((await curl('-T', bomb, `${base}/drop/${token}/backup.tar.gz`)).status).toBe(201);
    expect((await archive.list())[0]!.files[0]!.size).toBeLessThan(LIMIT);
  });
});

describe('a delivery is refused, and nothing is stored,', () => {
  it.each([
    ['with a name that climbs out', ['-d', 'x', '/drop/TOKEN/../../etc/passwd'], 404],
    ['with a name that climbs out, encoded', ['-d', 'x', '/drop/TOKEN/%2e%2e%2fetc/passwd'], 400],
    ['with a NUL in its name', ['-d', 'x', '/drop/TOKEN/a%00b'], 400],
    ['when it is empty', ['-X', 'PUT', '-H', 'Content-Length: 0', '/drop/TOKEN/x'], 400],
    ['when its content is encoded', ['-d', 'x', '-H', 'Content-Encoding: gzip', '/drop/TOKEN/x'], 415],
    ['when it is a form without a file', ['-F', 'comment=x', '/drop/TOKEN'], 400],
    [
      'when its form is cut short',
      ['-d', '--b\r\n', '-H', 'Content-Type: multipart/form-data; boundary=b', '/drop/TOKEN'],
      400,
    ],
    ['by another method', ['-X', 'DELETE', '/drop/TOKEN/x'], 404],
  ])('%s', async (_, args, status) => {
    const url = base + args.at(-1)!.replace('TOKEN', token);
    expect((await curl(...args.slice(0, -1), url)).status).toBe(status);
    expect(await stored()).toEqual([]);
  });

  it('with a form whose file name climbs out', async () => {
    const file = fileOf('x', 'x');
    expect((await curl('-F', `f=@${file};filename=../../x`, `${base}/drop/${token}`)).status).toBe(400);
    expect(await stored()).toEqual([]);
  });

  it('when it is too large, announced or not', async () => {
    const large = fileOf('large', Buffer.alloc(LIMIT + 1));
    expect((await curl('-T', large, `${base}/drop/${token}/x`)).status).toBe(413);
    expect(
      (await curl('-T', large, '-H', 'Transfer-Encoding: chunked', `${base}/drop/${token}/x`)).status,
    ).toBe(413);
    expect((await curl('-T', fileOf('just', Buffer.alloc(LIMIT, 1)), `${base}/drop/${token}/x`)).status).toBe(
      201,
    );
  });

  it.each([
    ['announced', 'Content-Length: 1000\r\n\r\nhalf'],
    ['in chunks', 'Transfer-Encoding: chunked\r\n\r\n4\r\nhalf\r\n'],
  ])('when the device goes away in the middle (%s)', async (_, rest) => {
    const socket = connect(Number(new URL(base).port), '127.0.0.1');
    socket.write(`PUT /drop/${token}/x HTTP/1.1\r\nHost: workbench\r\n${rest}`);
    await new Promise((resolve) => setTimeout(resolve, 100));
    socket.destroy();
    while (refused.length === 0) await new Promise((resolve) => setTimeout(resolve, 10));
    expect(refused).toEqual(['server/half-received']);
    expect(await stored()).toEqual([]);
  });
});

describe('a wrong token', () => {
  it('gets the same answer as none, whatever was asked', async () => {
    const answers = [];
    for (const args of [['-u', 'gull-quay-1:wrong'], ['-H', 'Authorization: Bearer x'], []])
      answers.push(await curl('-d', 'x', ...args, `${base}/deliver/x`));
    expect(new Set(answers.map((answer) => JSON.stringify(answer))).size).toBe(1);
    expect(answers[0]!.status).toBe(401);
    expect((await curl('-d', 'x', `${base}/drop/wrong`)).body).toBe(
      (await curl('-d', 'x', `${base}/drop/w/x`)).body,
    );
    expect(await stored()).toEqual([]);
  });

  it('too often: then that address is not heard, with a right token neither; others are', async () => {
    const from = (address: string, secret: string) =>
      curl('-d', 'x', '-H', `X-Test-Address: ${address}`, `${base}/drop/${secret}`);
    for (let i = 0; i < 10; i += 1) expect((await from('2001:db8:0:1::7', `wrong${i}`)).status).toBe(404);
    // The same /64 (RFC 3849 addresses), written otherwise.
    const wrong = await from('2001:db8:0000:1:abcd::1', 'wrong');
    const right = await from('2001:db8::1:0:0:0:9', token);
    expect([wrong.status, right.status]).toEqual([429, 429]);
    expect(right.body).toBe(wrong.body);
    expect((await from('2001:db8:0:2::7', token)).status).toBe(201);
    expect((await from('192.0.2.1', token)).status).toBe(201);
  });
});
