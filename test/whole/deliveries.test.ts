import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync } from 'node:fs';
import { connect } from 'node:net';
import path from 'node:path';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { CaptureRecord } from '#archive';
import { curl, Serving } from './serving.ts';
import { dataOf, Workbench } from './workbench.ts';

/**
 * `tuckpoint serve` as devices meet it. The clients are programs nobody here wrote: curl (RFC 9110 methods, RFC 7578
 * forms, RFC 6750 and RFC 7617 credentials) and OpenSSH's sftp.
 */
const LIMIT = 200_000;
const name = 'lantern-head-pump';
const bench = new Workbench();
let serving: Serving;
let token: string;

beforeAll(async () => {
  await bench.say('device', 'add', name, '--only-delivers');
  token = dataOf<{ token: string }>(await bench.run('delivery', 'token', name)).token;
  serving = await Serving.start(bench, '--sftp-port', '0', '--limit', String(LIMIT));
});
afterAll(async () => {
  await serving?.end('SIGKILL');
  bench.remove();
});

const captures = async (device = name) => dataOf<CaptureRecord[]>(await bench.run('archive', 'list', device));

/** The bytes of a delivered file, taken out of the archive by the command line. */
async function bytesOf(id: string, file: string): Promise<Buffer> {
  const out = path.join(bench.folder, 'out', id);
  expect((await bench.say('archive', 'show', id, '--out', out)).code).toBe(0);
  return readFileSync(path.join(out, file));
}

const idIn = (body: string) => (JSON.parse(body) as { id: string }).id;

describe('A device delivers', () => {
  const content = 'hostname lantern-head-pump\n';

  test.each([
    ['PUT with Basic', () => ['-u', `any:${token}`, '/deliver/flash/running.conf'], 'flash/running.conf'],
    ['PUT with a bearer token', () => ['-H', `Authorization: Bearer ${token}`, '/deliver/b.conf'], 'b.conf'],
    ['PUT to a secret path', () => [`/drop/${token}/c.conf`], 'c.conf'],
    ['PUT in chunks', () => ['-H', 'Transfer-Encoding: chunked', `/drop/${token}/d.conf`], 'd.conf'],
    [
      'PUT with an odd name',
      () => [`/drop/${token}/${encodeURIComponent('größe & "x" %41.cfg')}`],
      'größe & "x" %41.cfg',
    ],
  ])('by %s', async (_, args, file) => {
    const sent = bench.file('running.conf', content);
    const all = args();
    const got = await curl('-T', sent, ...all.slice(0, -1), `${serving.base}${all.at(-1)}`);
    expect(got.status, got.body).toBe(201);
    expect((await bytesOf(idIn(got.body), file)).toString()).toBe(content);
    expect((await captures()).at(-1)).toMatchObject({ id: idIn(got.body), device: name, source: 'delivery' });
  });

  test('by POST of the bare bytes, of any kind', async () => {
    const bytes = Buffer.from(Array.from({ length: 256 }, (_, i) => i));
    const sent = bench.file('opaque.bin', bytes);
    const type = 'Content-Type: application/octet-stream';
    const got = await curl('--data-binary', `@${sent}`, '-H', type, `${serving.base}/drop/${token}/full.bak`);
    expect(await bytesOf(idIn(got.body), 'full.bak')).toEqual(bytes);
  });

  test('by POST of a form with several files, as one capture', async () => {
    const [a, b] = [bench.file('a.conf', 'a\n'), bench.file('b.pem', 'b\n')];
    const form = ['-F', `one=@${a}`, '-F', `two=@${b}`, '-F', 'comment=weekly', '-u', `x:${token}`];
    const got = await curl(...form, `${serving.base}/deliver`);
    expect(got.status).toBe(201);
    const { files } = (await captures()).at(-1)!;
    expect(files.map((file) => file.name).sort()).toEqual(['a.conf', 'b.pem']);
  });

  test('twenty times in the same instant: all are there, each its own', async () => {
    const before = (await captures()).length;
    const got = await Promise.all(
      Array.from({ length: 20 }, (_, n) =>
        curl('-d', `same instant ${n}`, `${serving.base}/drop/${token}/n`),
      ),
    );
    expect(got.map(({ status }) => status)).toEqual(Array(20).fill(201));
    expect(new Set(got.map(({ body }) => idIn(body))).size).toBe(20);
    expect(await captures()).toHaveLength(before + 20);
    for (const [n, { body }] of got.entries())
      if (n % 5 === 0) expect((await bytesOf(idIn(body), 'n')).toString()).toBe(`same instant ${n}`);
  });

  test('and its history shows them as deliveries, with what changed', async () => {
    const put = (text: string) =>
      curl('-T', bench.file('h.ini', text), `${serving.base}/drop/${token}/h.ini`);
    await put('[mail]\nserver=192.0.2.1\n');
    await put('[mail]\nserver=192.0.2.2\n');
    const { stdout } = await bench.say('history', name, '--most', '1', '--text');
    expect(stdout).toContain('delivery');
    expect(stdout).toContain('-server=192.0.2.1');
    expect(stdout).toContain('+server=192.0.2.2');
  });
});

describe('What is not a whole delivery is refused, and nothing of it is stored:', () => {
  /** Runs it, and checks that the archive has what it had. */
  async function nothingStored(work: () => Promise<void>): Promise<void> {
    const before = await captures();
    await work();
    expect(await captures()).toEqual(before);
  }

  test('too large, announced or not; the largest allowed is taken', async () => {
    const large = bench.file('large', Buffer.alloc(LIMIT + 1));
    await nothingStored(async () => {
      for (const more of [[], ['-H', 'Transfer-Encoding: chunked']])
        expect((await curl('-T', large, ...more, `${serving.base}/drop/${token}/x`)).status).toBe(413);
    });
    const just = bench.file('just', Buffer.alloc(LIMIT, 7));
    expect((await curl('-T', just, `${serving.base}/drop/${token}/x`)).status).toBe(201);
  });

  test('a body that breaks off', async () => {
    await nothingStored(async () => {
      for (const rest of [
        'Content-Length: 1000\r\n\r\nhalf',
        'Transfer-Encoding: chunked\r\n\r\n4\r\nhalf\r\n',
      ]) {
        const socket = connect(Number(new URL(serving.base).port), '127.0.0.1');
        const told = serving.events.length;
        socket.write(`PUT /drop/${token}/x HTTP/1.1\r\nHost: workbench\r\n${rest}`);
        await new Promise((resolve) => setTimeout(resolve, 200));
        socket.destroy();
        await expect
          .poll(() => serving.events.slice(told))
          .toMatchObject([{ kind: 'refused', code: 'server/half-received' }]);
      }
    });
  });

  test('empty, encoded, a form without a file, a name that climbs out or cannot be', async () => {
    await nothingStored(async () => {
      const drop = `${serving.base}/drop/${token}`;
      const file = bench.file('x', 'x');
      for (const [status, ...args] of [
        [400, '-X', 'PUT', '-H', 'Content-Length: 0', `${drop}/x`],
        [415, '-d', 'x', '-H', 'Content-Encoding: gzip', `${drop}/x`],
        [400, '-F', 'comment=x', drop],
        [400, '-F', `f=@${file};filename=../../x`, drop],
        [400, '-d', 'x', `${drop}/%2e%2e%2fetc/passwd`],
        [400, '-d', 'x', `${drop}/a%00b`],
        [404, '-d', 'x', `${serving.base}/drop/../etc`],
        [404, '-X', 'DELETE', `${drop}/x`],
      ] as const)
        expect([(await curl(...args)).status, args.at(-1)]).toEqual([status, args.at(-1)]);
    });
  });

  test('a packed bomb or a tar with names that climb out is kept as it came, and never unpacked', async () => {
    const bomb = gzipSync(Buffer.alloc(100 << 20), { level: 9 });
    const got = await curl('-T', bench.file('bomb.gz', bomb), `${serving.base}/drop/${token}/bomb.gz`);
    expect(await bytesOf(idIn(got.body), 'bomb.gz')).toEqual(bomb);
    bench.file('climb', 'x');
    const climb = path.join(bench.folder, 'files', 'climb.tar');
    execFileSync('tar', ['-c', '-P', '-f', climb, '--transform', 's,^,../../,', 'climb'], {
      cwd: path.join(bench.folder, 'files'),
    });
    const tar = await curl('-T', climb, `${serving.base}/drop/${token}/climb.tar`);
    expect(tar.status).toBe(201);
    for (const id of [idIn(got.body), idIn(tar.body)])
      expect((await bench.say('archive', 'rehearse', id)).stdout).toContain('opened, every digest is right');
    expect((await bench.say('history', name)).code).toBe(0);
  });
});

describe('A token', () => {
  test('that is wrong gets the same answer as none, whatever was asked', async () => {
    const answers = [];
    for (const args of [
      ['-u', `${name}:wrong`],
      ['-u', 'nobody:wrong'],
      ['-H', 'Authorization: Bearer x'],
      [],
    ])
      answers.push(await curl('-d', 'x', ...args, `${serving.base}/deliver/x`));
    const bare = answers.map(({ status, body, headers }) =>
      JSON.stringify([status, body, headers.replace(/"date":.*/, '')]),
    );
    expect(new Set(bare).size).toBe(1);
    expect(answers[0]!.status).toBe(401);
    expect((await serving.heard('denied')).address).toBe('127.0.0.1');
  });

  test('can be there twice, and ends when it is revoked', async () => {
    const second = dataOf<{ id: string; token: string }>(await bench.run('delivery', 'token', name));
    const deliver = (word: string) =>
      curl('-d', 'x', '-H', `Authorization: Bearer ${word}`, `${serving.base}/deliver/t`);
    expect((await deliver(second.token)).status).toBe(201);
    expect((await bench.say('delivery', 'revoke', second.id)).code).toBe(0);
    expect((await deliver(second.token)).status).toBe(401);
    expect((await deliver(token)).status).toBe(201);
    const listed = (await bench.say('delivery', 'list', name)).stdout;
    expect(listed).not.toContain(second.id);
    expect((await bench.say('delivery', 'revoke', second.id)).code).toBe(3);
  });

  test('stands nowhere in the data folder, nor does the host key of the drop', () => {
    expect(bench.filesHolding(token)).toEqual([]);
    expect(bench.filesHolding('PRIVATE KEY')).toEqual([]);
  });

  test('too often wrong: then that address is not heard, with a right token neither', async () => {
    const try_ = (word: string) => curl('-d', 'x', '-u', `any:${word}`, `${serving.base}/deliver/x`);
    for (let n = 0; n < 10; n += 1) await try_(`wrong${n}`);
    const [wrong, right] = [await try_('wrong'), await try_(token)];
    expect([wrong.status, right.status]).toEqual([429, 429]);
    expect(wrong.body).toBe(right.body);
    expect(right.headers).toMatch(/"retry-after":\["\d+"\]/);
  });
});

describe('The SFTP drop', () => {
  async function sftp(commands: string, key: string): Promise<number> {
    const { port } = serving.listening.sftp!;
    const options = [
      'StrictHostKeyChecking=yes',
      `UserKnownHostsFile=${known}`,
      'IdentitiesOnly=yes',
      'BatchMode=yes',
    ];
    const args = [...options.flatMap((one) => ['-o', one]), '-i', key, '-P', String(port)];
    const child = spawn('sftp', [...args, '-b', '-', 'device@127.0.0.1'], { cwd: bench.folder });
    child.stdin.end(commands);
    const [status] = (await once(child, 'close')) as [number];
    return status;
  }
  let known: string;

  test("takes files from OpenSSH's sftp by the key that is noted, and its host key is the one that serve names", async () => {
    const key = path.join(bench.folder, 'device-key');
    const stranger = path.join(bench.folder, 'stranger-key');
    for (const file of [key, stranger])
      execFileSync('ssh-keygen', ['-q', '-t', 'ed25519', '-N', '', '-f', file]);
    const { port, fingerprint } = serving.listening.sftp!;
    const scanned = execFileSync('ssh-keyscan', ['-p', String(port), '127.0.0.1'], {
      stdio: ['ignore', 'pipe', 'ignore'],
    });
    known = bench.file('known_hosts', scanned);
    expect(execFileSync('ssh-keygen', ['-l', '-f', known]).toString()).toContain(fingerprint);
    expect((await bench.say('delivery', 'key', name, `${key}.pub`)).code).toBe(0);
    expect((await bench.say('delivery', 'key', name, key)).code).toBe(3);
    bench.file('s.conf', 'by sftp\n');
    expect(await sftp('put files/s.conf.part', stranger)).not.toBe(0);
    expect(await sftp('put files/s.conf /flash/s.conf\n', key)).toBe(0);
    const last = (await captures()).at(-1)!;
    expect(last).toMatchObject({ source: 'delivery', files: [{ name: 'flash/s.conf' }] });
    expect((await bytesOf(last.id, 'flash/s.conf')).toString()).toBe('by sftp\n');
    expect(await sftp('get /flash/s.conf back\n', key)).not.toBe(0);
  });
});

test('After all that the archive is good, the folder holds no plain text, and serve ends in order', async () => {
  expect(await serving.end()).toBe(0);
  expect(serving.said).toBe('');
  expect((await bench.say('archive', 'verify')).stdout).toContain('Nothing is wrong.');
  expect(bench.filesHolding('hostname lantern-head-pump')).toEqual([]);
  expect(
    readdirSync(bench.data, { recursive: true }).filter((file) => String(file).endsWith('.unfinished')),
  ).toEqual([]);
});
