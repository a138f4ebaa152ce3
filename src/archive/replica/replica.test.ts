import { once } from 'node:events';
import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import S3rver from 's3rver';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openArchive } from '../archive.ts';
import { deleteCaptures } from '../keeping.ts';
import { tidy } from '../packing.ts';
import { scratchArchive } from '../scratch.reference.ts';
import { verifyArchive } from '../verify.ts';
import {
  folderStore,
  memoryStore,
  pacedStore,
  type ReplicaStore,
  replicate,
  restoreReplica,
  s3Store,
} from './index.ts';

const scratch = scratchArchive();
const disk = mkdtempSync(path.join(tmpdir(), 'replica-'));
let server: InstanceType<typeof S3rver>;
let endpoint: string;

beforeAll(async () => {
  mkdirSync(path.join(disk, 's3'));
  const options = { port: 0, address: '127.0.0.1', silent: true, directory: path.join(disk, 's3') };
  server = new S3rver({ ...options, configureBuckets: [{ name: 'tidewatch', configs: [] }] });
  endpoint = `http://127.0.0.1:${(await server.run()).port}`;
});
afterAll(async () => {
  await server.close();
  rmSync(disk, { recursive: true, force: true });
});

let count = 0;
/** The key pair that the server used here knows. */
const pair = { accessKeyId: 'S3RVER', secretAccessKey: 'S3RVER' };
const makers: Record<string, () => ReplicaStore> = {
  'in memory': () => memoryStore(),
  'in a folder': () => folderStore(path.join(disk, `folder-${count++}`)),
  'in an S3-compatible store': () =>
    s3Store({ endpoint, bucket: 'tidewatch', prefix: `r${count++}/`, ...pair }),
};

describe.each(Object.entries(makers))('a replica %s', (_, make) => {
  it('gives back what was written, lists it, replaces and removes it', async () => {
    const store = make();
    expect([...(await store.list())]).toEqual([]);
    expect(await store.read('packs/a')).toBeNull();
    await store.write('packs/a', Buffer.from('one'));
    await store.write('packs/a', Buffer.from('four'));
    await store.write('keys/b.age', new Uint8Array([0, 255]));
    expect(new Map(await store.list())).toEqual(
      new Map([
        ['packs/a', 4],
        ['keys/b.age', 2],
      ]),
    );
    expect(Buffer.from((await store.read('packs/a'))!).toString()).toBe('four');
    await store.remove('packs/a');
    await store.remove('packs/a');
    expect([...(await store.list()).keys()]).toEqual(['keys/b.age']);
  });

  it('restores the whole archive alone, onto an empty machine', async () => {
    const store = make();
    for (let n = 0; n < 18; n += 1) await scratch.put(n);
    await tidy(scratch.archive.inside);
    const { id, digest } = await scratch.put(18);
    const first = await replicate(scratch.archive.inside, store);
    expect(first).toMatchObject({ kept: 0, removed: 0 });
    const folder = path.join(scratch.home, 'empty machine');
    await restoreReplica(store, folder);
    const restored = await openArchive({ folder, key: scratch.key });
    expect((await restored.get(id)).record.digest).toBe(digest);
    expect(await verifyArchive(restored.inside)).toMatchObject({ good: true, goodCaptures: 19 });
    await restored.close();
  });

  it('takes only what is new, and lets go of what the archive has let go', async () => {
    const store = make();
    const { id } = await scratch.put(0);
    await scratch.put(1);
    await replicate(scratch.archive.inside, store);
    await scratch.put(2);
    // The capture, its line, the head.
    expect(await replicate(scratch.archive.inside, store)).toMatchObject({ written: 3, removed: 0 });
    await deleteCaptures(scratch.archive.inside, [id], 'by hand');
    const before = [...(await store.list()).keys()].filter((name) => name.startsWith('captures/'));
    expect(await replicate(scratch.archive.inside, store)).toMatchObject({ written: 2, removed: 1 });
    const after = [...(await store.list()).keys()].filter((name) => name.startsWith('captures/'));
    expect(before.filter((name) => !after.includes(name))).toHaveLength(1);
  });
});

describe('replication', () => {
  it('goes on where it stopped when the store is lost halfway', async () => {
    for (let n = 0; n < 6; n += 1) await scratch.put(n);
    const store = memoryStore();
    let writes = 0;
    const failing: ReplicaStore = {
      ...store,
      write: async (name, bytes) => {
        writes += 1;
        if (writes > 5) throw new Error('the line is dead');
        await store.write(name, bytes);
      },
    };
    await expect(replicate(scratch.archive.inside, failing)).rejects.toThrow('the line is dead');
    await expect(restoreReplica(store, path.join(scratch.home, 'too early'))).rejects.toMatchObject({
      code: 'archive/replica',
    });
    expect(await replicate(scratch.archive.inside, store)).toMatchObject({ kept: 5 });
    const folder = path.join(scratch.home, 'restored');
    await restoreReplica(store, folder);
    const restored = await openArchive({ folder, key: scratch.key });
    expect(await verifyArchive(restored.inside)).toMatchObject({ good: true, goodCaptures: 6 });
    await restored.close();
  });

  it('notices a store that does not give back what was written', async () => {
    await scratch.put(0);
    const store = memoryStore();
    const lying = {
      ...store,
      write: (name: string, bytes: Uint8Array) =>
        store.write(
          name,
          bytes.map((b) => b ^ 1),
        ),
    };
    await expect(replicate(scratch.archive.inside, lying)).rejects.toMatchObject({ code: 'archive/replica' });
  });

  it('that reads all finds and mends a file changed there', async () => {
    await scratch.put(0);
    const store = memoryStore();
    await replicate(scratch.archive.inside, store);
    const name = [...(await store.list()).keys()].find((one) => one.startsWith('captures/'))!;
    await store.write(name, new Uint8Array((await store.list()).get(name)!));
    expect(await replicate(scratch.archive.inside, store)).toMatchObject({ written: 0 });
    expect(await replicate(scratch.archive.inside, store, { readAll: true })).toMatchObject({ written: 1 });
  });

  it('does not touch the replica of another archive, or one that is further on', async () => {
    const store = memoryStore();
    await scratch.put(0);
    await scratch.archive.close();
    const earlier = path.join(scratch.home, 'earlier');
    cpSync(scratch.folder, earlier, { recursive: true });
    scratch.archive = await openArchive({ folder: scratch.folder, key: scratch.key });
    await scratch.put(1);
    await replicate(scratch.archive.inside, store);
    const before = new Map(await store.list());
    const old = await openArchive({ folder: earlier, key: scratch.key });
    await expect(replicate(old.inside, store)).rejects.toThrow(/further on/);
    const other = await openArchive({ folder: path.join(scratch.home, 'other'), key: scratch.key });
    await expect(replicate(other.inside, store)).rejects.toThrow(/further on|another history/);
    await old.close();
    await other.close();
    expect(new Map(await store.list())).toEqual(before);
  });

  it('stays within its share of the line', async () => {
    let clock = 0;
    const wait = async (milliseconds: number) => {
      clock += milliseconds;
    };
    const paced = pacedStore(memoryStore(), 1000, () => clock, wait);
    for (let n = 0; n < 10; n += 1) await paced.write(`packs/${n}`, new Uint8Array(500));
    expect(clock).toBe(5000);
  });

  it('says clearly that a store cannot be reached, or refuses', async () => {
    const silent: Server = createServer((_, response) =>
      response.writeHead(403).end('<Error><Code>AccessDenied</Code></Error>'),
    );
    silent.listen(0, '127.0.0.1');
    await once(silent, 'listening');
    const refusing = `http://127.0.0.1:${(silent.address() as AddressInfo).port}`;
    const store = s3Store({ endpoint: refusing, bucket: 'b', ...pair });
    await expect(store.list()).rejects.toThrow(/answers 403 AccessDenied to GET/);
    silent.close();
    await once(silent, 'close');
    await expect(s3Store({ endpoint: refusing, bucket: 'b', ...pair }).list()).rejects.toThrow(
      /cannot be reached/,
    );
    await expect(s3Store({ endpoint, bucket: 'no-such-bucket', ...pair }).list()).rejects.toThrow(
      /no bucket/,
    );
  });

  it('restores nothing over what is there, and nothing outside its folder', async () => {
    const store = memoryStore();
    await scratch.put(0);
    await replicate(scratch.archive.inside, store);
    await store.write('captures/../../outside', Buffer.from('x'));
    await expect(restoreReplica(store, scratch.folder)).rejects.toMatchObject({
      code: 'archive/not-an-archive',
    });
    const folder = path.join(scratch.home, 'deep', 'er');
    await restoreReplica(store, folder);
    expect(readdirSync(path.join(scratch.home, 'deep'))).toEqual(['er']);
  });

  it('pages through a long list of a bucket', async () => {
    // The server above cannot page (its tokens need DES, which OpenSSL 3 does not have). The answers here have the form
    // that the S3 API reference prints for ListObjectsV2.
    const pages: Record<string, string> = {
      '': '<IsTruncated>true</IsTruncated><Contents><Key>p/packs/a</Key><Size>1</Size></Contents><NextContinuationToken>t&amp;1</NextContinuationToken>',
      't&1': '<IsTruncated>false</IsTruncated><Contents><Key>p/packs/b</Key><Size>2</Size></Contents>',
    };
    const paging = createServer((request, response) => {
      const token = new URL(request.url!, 'http://x').searchParams.get('continuation-token') ?? '';
      response.end(`<?xml version="1.0"?><ListBucketResult>${pages[token]}</ListBucketResult>`);
    });
    paging.listen(0, '127.0.0.1');
    await once(paging, 'listening');
    const port = (paging.address() as AddressInfo).port;
    const store = s3Store({ endpoint: `http://127.0.0.1:${port}`, bucket: 'b', prefix: 'p/', ...pair });
    expect([...(await store.list())]).toEqual([
      ['packs/a', 1],
      ['packs/b', 2],
    ]);
    paging.close();
  });
});
