import { execFileSync } from 'node:child_process';
import { connect } from 'node:net';
import path from 'node:path';
import { connect as connectTls } from 'node:tls';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import type { CaptureRecord } from '#archive';
import { Estate } from './estate.ts';
import { curl, Serving } from './serving.ts';
import { dataOf } from './workbench.ts';

/** `tuckpoint serve` as a service: rounds by a recurrence, late deliveries, HTTPS, and its end. */
const [first, second] = ['gull-quay-fw1', 'lantern-head-cctv'];
const delivers = 'lantern-head-pump';
let estate: Estate;
let serving: Serving | undefined;
beforeAll(async () => {
  estate = await Estate.start([first, second]);
  await estate.say('device', 'add', delivers, '--only-delivers');
});
afterEach(async () => {
  await serving?.end('SIGKILL');
  await estate.say('schedule', 'clear');
});
afterAll(() => estate.stop());

const captures = async () => dataOf<CaptureRecord[]>(await estate.run('archive', 'list'));

/** A recurrence that comes `seconds` from now and then once a day (RFC 5545 section 3.3.10). */
function in_(seconds: number): string {
  const at = new Date(Date.now() + seconds * 1000);
  return `FREQ=DAILY;BYHOUR=${at.getUTCHours()};BYMINUTE=${at.getUTCMinutes()};BYSECOND=${at.getUTCSeconds()}`;
}

describe('Rounds', () => {
  test('are gone on when they are due, to every device that can be reached', async () => {
    serving = await Serving.start(estate);
    // Set while it runs: it looks every half minute at the latest.
    const set = dataOf<{ next: string }>(await estate.run('schedule', 'set', in_(20), '--zone', 'UTC'));
    const begun = await serving.heard('round-begun');
    expect(begun.due).toBe(set.next);
    expect(Date.parse(begun.at)).toBeGreaterThanOrEqual(Date.parse(set.next));
    const ended = await serving.heard('round-ended');
    expect(ended).toMatchObject({ due: set.next, done: 2, of: 2, cut: false });
    expect(Date.parse(ended.next!) - Date.parse(set.next)).toBe(86_400_000);
    expect((await captures()).map(({ device, source }) => [device, source])).toEqual([
      [first, 'round'],
      [second, 'round'],
    ]);
    expect((await estate.say('schedule', 'show')).stdout).toContain(`the last one done was due ${set.next}`);
    expect(await serving.end('SIGINT')).toBe(0);
  });

  test('that a stop cuts short leave no unfinished run, and are gone on again at the next start', async () => {
    await estate.run('schedule', 'set', 'FREQ=SECONDLY;INTERVAL=5', '--zone', 'UTC');
    serving = await Serving.start(estate);
    await serving.heard('round-begun');
    // It is at the first device now: that one is ended, the second not begun.
    expect(await serving.end('SIGTERM')).toBe(0);
    const { done, cut } = await serving.heard('round-ended');
    expect({ done, cut }).toEqual({ done: 1, cut: true });
    expect((await estate.say('resume')).stdout).toContain('No run is waiting');
    const again = await Serving.start(estate);
    serving = again;
    expect(await again.heard('round-ended')).toMatchObject({ done: 2, cut: false });
  });

  test('that a kill interrupts are gone on with at the next start', async () => {
    await estate.run('schedule', 'set', 'FREQ=SECONDLY;INTERVAL=5', '--zone', 'UTC');
    serving = await Serving.start(estate);
    await serving.heard('round-begun');
    expect(await serving.end('SIGKILL')).toBe('SIGKILL');
    serving = await Serving.start(estate);
    expect(await serving.heard('round-ended')).toMatchObject({ done: 2, cut: false });
    await serving.end();
    expect((await estate.say('resume')).stdout).toContain('No run is waiting');
    expect((await estate.say('archive', 'verify')).stdout).toContain('Nothing is wrong.');
  });

  test('a recurrence that is none, or never comes again, is refused in one sentence', async () => {
    for (const rule of ['every night', 'FREQ=DAILY;BYHOUR=25', 'FREQ=DAILY;UNTIL=20200101T000000Z']) {
      const answer = await estate.say('schedule', 'set', rule);
      expect(answer.code).toBe(3);
      expect(answer.stderr.trimEnd().split('\n')).toHaveLength(1);
    }
    expect((await estate.say('schedule', 'show')).stdout).toContain('No round is scheduled');
  });
});

describe('A device that should deliver', () => {
  test('and does not in time is a concern, and is told; when it has delivered, no more', async () => {
    // Expected every second with no grace: late at once.
    await estate.run('delivery', 'expect', delivers, 'FREQ=SECONDLY;INTERVAL=1', '--grace', '0');
    serving = await Serving.start(estate);
    const late = await serving.heard('late');
    expect(late.device).toBe(delivers);
    expect(late.reason).toMatch(/^The delivery of \S+ did not come\. It has never delivered\.$/);
    const concerns = await estate.say('concerns');
    expect(concerns.code).toBe(1);
    expect(concerns.stdout).toContain(`${delivers}: The delivery of`);
    expect((await estate.say('round', first)).stdout).toContain(`${delivers}: The delivery of`);
    const { token } = dataOf<{ token: string }>(await estate.run('delivery', 'token', delivers));
    await estate.run('delivery', 'expect', delivers, 'FREQ=DAILY', '--grace', '60');
    expect((await curl('-d', 'x=1', `${serving.base}/drop/${token}/c`)).status).toBe(201);
    expect((await estate.say('concerns')).stdout).not.toContain(delivers);
    expect((await estate.say('delivery', 'expect-nothing', delivers)).code).toBe(0);
  });

  test('is never reached: a run on it is refused before it begins, and a round leaves it out', async () => {
    const answer = await estate.say('capture', delivers);
    expect(answer.code).toBe(3);
    expect(answer.stderr).toContain(`${delivers} only delivers`);
    expect((await estate.say('runs')).stdout).not.toContain(delivers);
    expect((await estate.say('round')).stdout).not.toContain(`${delivers}  -`);
  });

  test('loses its tokens when it is removed', async () => {
    await estate.say('device', 'add', 'sandgate-old', '--only-delivers');
    const { token } = dataOf<{ token: string }>(await estate.run('delivery', 'token', 'sandgate-old'));
    serving = await Serving.start(estate);
    expect((await curl('-d', 'x', `${serving.base}/drop/${token}/c`)).status).toBe(201);
    await estate.say('device', 'remove', 'sandgate-old');
    expect((await curl('-d', 'x', `${serving.base}/drop/${token}/c`)).status).toBe(404);
  });
});

describe('Listening', () => {
  function certificate(name: string): { cert: string; key: string } {
    const [cert, key] = [`${name}.cert.pem`, `${name}.key.pem`].map((file) => estate.file(file, ''));
    execFileSync(
      'openssl',
      [
        'req',
        '-x509',
        '-newkey',
        'ec',
        '-pkeyopt',
        'ec_paramgen_curve:prime256v1',
        '-nodes',
        '-days',
        '2',
      ].concat(
        ['-subj', `/CN=${name}.brackwater.example`, '-addext', 'subjectAltName=IP:127.0.0.1'],
        ['-keyout', key!, '-out', cert!],
      ),
      { stdio: 'ignore' },
    );
    return { cert: cert!, key: key! };
  }

  test('over HTTPS, with a certificate that can be renewed while it runs', async () => {
    const [now, next] = [certificate('workbench'), certificate('renewed')];
    const { token } = dataOf<{ token: string }>(await estate.run('delivery', 'token', delivers));
    serving = await Serving.start(estate, '--tls-cert', now.cert, '--tls-key', now.key);
    expect(serving.base).toMatch(/^https:/);
    const deliver = (ca: string) => curl('--cacert', ca, '-d', 'x', `${serving!.base}/drop/${token}/c`);
    expect((await deliver(now.cert)).status).toBe(201);
    expect((await deliver(next.cert)).status).toBe(0);
    const port = Number(new URL(serving.base).port);
    expect((await curl('-d', 'x', `http://127.0.0.1:${port}/drop/${token}/c`)).status).not.toBe(201);
    execFileSync('cp', [next.cert, now.cert]);
    execFileSync('cp', [next.key, now.key]);
    serving.send('SIGHUP');
    const subject = () =>
      new Promise<string>((resolve, reject) => {
        const socket = connectTls({ port, host: '127.0.0.1', rejectUnauthorized: false }, () => {
          resolve(String(socket.getPeerCertificate().subject.CN));
          socket.end();
        });
        socket.on('error', reject);
      });
    await expect.poll(subject).toBe('renewed.brackwater.example');
  });

  test.each([
    ['a port that is taken', ['--port', 'TAKEN'], 4],
    ['no port', ['--port', 'http'], 3],
    ['a certificate without its key', ['--tls-cert', 'CERT'], 3],
    ['a certificate with a key of another', ['--tls-cert', 'CERT', '--tls-key', 'OTHER'], 3],
    ['a certificate that is none', ['--tls-cert', 'NONE', '--tls-key', 'OTHER'], 3],
    ['a file that is not there', ['--tls-cert', '/nowhere', '--tls-key', '/nowhere'], 3],
  ])('on %s is refused in one sentence', async (_, options, code) => {
    serving = await Serving.start(estate);
    const named: Record<string, string> = {
      TAKEN: new URL(serving.base).port,
      CERT: certificate('a').cert,
      OTHER: certificate('b').key,
      NONE: estate.file('none.pem', 'no certificate\n'),
    };
    const answer = await estate.say('serve', ...options.map((one) => named[one] ?? one));
    expect(answer.code).toBe(code);
    expect(answer.stderr.trimEnd().split('\n')).toHaveLength(1);
    expect(answer.stderr).not.toMatch(/fault in Tuckpoint/u);
  });

  test('ends although a delivery hangs: that one is not stored', async () => {
    const before = (await captures()).length;
    const { token } = dataOf<{ token: string }>(await estate.run('delivery', 'token', delivers));
    serving = await Serving.start(estate);
    const socket = connect(Number(new URL(serving.base).port), '127.0.0.1');
    socket.on('error', () => undefined);
    socket.write(`PUT /drop/${token}/x HTTP/1.1\r\nHost: workbench\r\nContent-Length: 1000\r\n\r\nhalf`);
    await new Promise((resolve) => setTimeout(resolve, 300));
    expect(await serving.end()).toBe(0);
    expect(await captures()).toHaveLength(before);
  });
});

test('Killed in the middle of deliveries: every one that was answered is there, and no half of any other', async () => {
  const { token } = dataOf<{ token: string }>(await estate.run('delivery', 'token', delivers));
  const answered: { id: string; digest: string }[] = [];
  for (let kill = 0; kill < 4; kill += 1) {
    const victim = await Serving.start(estate);
    serving = victim;
    const sending = Array.from({ length: 8 }, async (_, lane) => {
      for (let n = 0; ; n += 1) {
        const text = `kill ${kill} lane ${lane} delivery ${n}\n`.repeat(500);
        const file = estate.file(`kill-${lane}`, text);
        const { status, body } = await curl('-T', file, `${victim.base}/drop/${token}/k`);
        if (status !== 201) return;
        answered.push(JSON.parse(body) as { id: string; digest: string });
      }
    });
    await new Promise((resolve) => setTimeout(resolve, 700 + kill * 230));
    expect(await victim.end('SIGKILL')).toBe('SIGKILL');
    await Promise.all(sending);
  }
  expect(answered.length).toBeGreaterThan(4);
  const verified = dataOf<{ good: boolean; manifest: []; files: []; captures: number; goodCaptures: number }>(
    await estate.run('archive', 'verify'),
  );
  // A file that was written whole while its line was not may stand there; no capture depends on it.
  expect(verified).toMatchObject({ manifest: [], files: [], goodCaptures: verified.captures });
  const held = new Map((await captures()).map(({ id, digest }) => [id, digest]));
  for (const { id, digest } of answered) expect(held.get(id)).toBe(digest);
});

test('A replica alone, on an empty machine, brings everything back by the command line', async () => {
  const here = await captures();
  const replica = path.join(estate.folder, 'replica');
  expect((await estate.say('archive', 'replicate', replica)).code).toBe(0);
  const sheet = dataOf<{ sheet: string }>(await estate.run('archive', 'recovery-key')).sheet;
  expect((await estate.say('archive', 'replicate', replica)).code).toBe(0);
  const identity = /AGE-SECRET-KEY-1\S+/.exec(sheet)![0];
  // An empty machine: nothing but the replica, the program, and the recovery key from paper.
  const { program, args } = estate.command();
  const env = {
    PATH: process.env.PATH,
    HOME: path.join(estate.folder, 'empty-home'),
    TUCKPOINT_KEY: identity,
    TUCKPOINT_DATA: path.join(estate.folder, 'empty-data'),
  };
  const there = (...more: string[]) =>
    execFileSync(program, [...args, '--json', ...more], {
      env,
      encoding: 'utf8',
      stdio: ['ignore', 'pipe', 'pipe'],
    });
  there('archive', 'restore-replica', replica);
  expect(JSON.parse(there('archive', 'verify'))).toMatchObject({
    good: true,
    captures: here.length,
    goodCaptures: here.length,
  });
  expect(
    (JSON.parse(there('archive', 'list')) as CaptureRecord[]).map(({ id, digest }) => [id, digest]),
  ).toEqual(here.map(({ id, digest }) => [id, digest]));
  const out = path.join(estate.folder, 'brought-back');
  there('archive', 'show', here[0]!.id, '--out', out);
  const listing = execFileSync(
    'sh',
    ['-c', 'find . -type f -printf "%P\\n" | LC_ALL=C sort | xargs sha256sum | sha256sum'],
    {
      cwd: out,
      encoding: 'utf8',
    },
  );
  expect(listing.split(' ')[0]).toBe(here[0]!.digest);
});
