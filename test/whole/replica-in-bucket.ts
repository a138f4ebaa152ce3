import { spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { once } from 'node:events';
import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { curl, Serving } from './serving.ts';
import { dataOf, Workbench } from './workbench.ts';

/** A server of objects that nobody here wrote, with one empty bucket. */
export interface Bucket {
  readonly endpoint: string;
  readonly bucket: string;
  readonly keyId: string;
  readonly secret: string;
  /** The server's own files that hold the bytes of the objects whose names begin so. */
  objects(prefix: string): string[];
  /** Ends the server. May be called again. */
  stop(): Promise<void>;
}

interface Report {
  readonly written: number;
  readonly bytes: number;
  readonly kept: number;
  readonly removed: number;
}

/** Registers the tests of a replica in a bucket, by the command line alone. */
export function testReplicaIn(start: (folder: string) => Promise<Bucket>): void {
  const bench = new Workbench();
  const device = 'lantern-head-pump';
  const sent = new Map<string, Buffer>();
  let bucket: Bucket;
  let place: string[];

  beforeAll(async () => {
    bucket = await start(path.join(bench.folder, 's3'));
    place = [`s3://${bucket.bucket}/workbench`, '--endpoint', bucket.endpoint];
    process.env.TUCKPOINT_S3_KEY_ID = bucket.keyId;
    process.env.TUCKPOINT_S3_SECRET = bucket.secret;

    await bench.say('device', 'add', device, '--only-delivers');
    const { token } = dataOf<{ token: string }>(await bench.run('delivery', 'token', device));
    const serving = await Serving.start(bench);
    for (let n = 0; n < 6; n += 1) {
      const bytes = randomBytes(40_000);
      const file = bench.file('full.bak', bytes);
      const { body } = await curl('-T', file, `${serving.base}/drop/${token}/full.bak`);
      sent.set((JSON.parse(body) as { id: string }).id, bytes);
    }
    await serving.end();
  });
  afterAll(async () => {
    delete process.env.TUCKPOINT_S3_KEY_ID;
    delete process.env.TUCKPOINT_S3_SECRET;
    await bucket?.stop();
    bench.remove();
  });

  const captures = () => bucket.objects('workbench/captures/');

  async function replicated(...options: string[]): Promise<Report> {
    return dataOf<Report>(await bench.run('archive', 'replicate', ...place, ...options));
  }

  test('a replication that is killed halfway goes on, keeps to its share of the line, and reads everything back', async () => {
    const { program, args, environment } = bench.command(
      'archive',
      'replicate',
      ...place,
      '--limit',
      '40000',
    );
    const child = spawn(program, args, { env: environment, stdio: 'ignore' });
    const ended = once(child, 'exit');
    while (captures().length < 3 && child.exitCode === null) await sleep(20);
    child.kill('SIGKILL');
    expect((await ended)[1]).toBe('SIGKILL');

    const half = await bench.say(
      '--data',
      path.join(bench.folder, 'half'),
      'archive',
      'restore-replica',
      ...place,
    );
    expect({ code: half.code, said: half.stderr }).toEqual({
      code: 4,
      said: expect.stringContaining('no archive'),
    });

    const limit = 100_000;
    const started = performance.now();
    const rest = await replicated('--limit', String(limit));
    // Not faster than allowed: what was written was also read back. Nothing is said of how slow a machine may be.
    expect(performance.now() - started).toBeGreaterThan((2 * rest.bytes * 1000) / limit);
    expect(rest.kept).toBeGreaterThanOrEqual(3);
    expect(rest.written).toBeGreaterThanOrEqual(3);
    expect(captures()).toHaveLength(6);
    expect(await replicated()).toMatchObject({ written: 0, kept: rest.kept + rest.written });
  });

  test('a bit changed in the store is found and mended when everything is read back', async () => {
    const victim = captures()[2]!;
    const bytes = readFileSync(victim);
    bytes[bytes.length >> 1]! ^= 1;
    writeFileSync(victim, bytes);
    expect(await replicated('--read-all')).toMatchObject({ written: 1 });
    expect(await replicated('--read-all')).toMatchObject({ written: 0 });
  });

  test('the archive comes back from the store alone, onto an empty data folder', async () => {
    const data = ['--data', path.join(bench.folder, 'empty machine')];
    const back = await bench.say(...data, 'archive', 'restore-replica', ...place);
    expect(back.code, back.stderr).toBe(0);
    const verified = await bench.say(...data, 'archive', 'verify');
    expect(verified.stdout).toContain('6 of 6 captures are good');
    expect(verified.code).toBe(0);
    for (const [id, bytes] of sent) {
      const out = path.join(bench.folder, 'out', id);
      expect((await bench.say(...data, 'archive', 'show', id, '--out', out)).code).toBe(0);
      expect(readFileSync(path.join(out, 'full.bak')).equals(bytes)).toBe(true);
    }
  });

  test('a wrong limit or address is bad input; a store that is gone, or has no such bucket, is said to be', async () => {
    for (const wrong of [
      [...place, '--limit', 'fast'],
      ['s3://tidewatch'],
      ['s3://tidewatch', '--endpoint', 'x'],
    ])
      expect([wrong, (await bench.say('archive', 'replicate', ...wrong)).code]).toEqual([wrong, 3]);
    const none = await bench.say('archive', 'replicate', 's3://no-such-bucket', ...place.slice(1));
    expect({ code: none.code, said: none.stderr }).toEqual({
      code: 4,
      said: expect.stringContaining('no bucket'),
    });
    process.env.TUCKPOINT_S3_KEY_ID = 'nobody:known';
    const refused = await bench.say('archive', 'replicate', ...place);
    process.env.TUCKPOINT_S3_KEY_ID = bucket.keyId;
    expect({ code: refused.code, said: refused.stderr }).toEqual({
      code: 4,
      said: expect.stringContaining('answers 403'),
    });
    await bucket.stop();
    const gone = await bench.say('archive', 'replicate', ...place);
    expect({ code: gone.code, said: gone.stderr }).toEqual({
      code: 4,
      said: expect.stringContaining('cannot be reached'),
    });
  });
}
