import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type FolderArchive, openArchive } from './archive.ts';
import { compressed } from './compressor.ts';
import { writeContainer } from './container.ts';
import { type ArchiveKey, freshKey } from './key.ts';
import { tidy } from './packing.ts';
import { cutIntoPieces } from './pieces.ts';
import { packTar } from './tar.ts';
import { verifyArchive } from './verify.ts';

let folder: string;
let key: ArchiveKey;
let archive: FolderArchive;
beforeEach(async () => {
  folder = mkdtempSync(path.join(tmpdir(), 'packing-'));
  key = await freshKey();
  archive = await openArchive({ folder, key });
});
afterEach(async () => {
  await archive.close();
  rmSync(folder, { recursive: true, force: true });
});

/** A configuration of some 60 kB, in which every version changes one line. */
function version(n: number): Buffer {
  const lines = Array.from(
    { length: 1500 },
    (_, i) => `rule ${i} permit 10.1.${i % 250}.0/24 port ${1000 + ((i * 7) % 4000)}`,
  );
  for (let i = 0; i <= n; i += 1) lines[(i * 37) % 1500] = `rule changed by version ${i}`;
  return Buffer.from(`${lines.join('\n')}\n`);
}

async function putVersions(from: number, to: number, device = 'north-mole-1') {
  const ids: string[] = [];
  for (let n = from; n < to; n += 1) {
    const at = new Date(Date.UTC(2026, 0, 1 + n, 4)).toISOString();
    const files = [{ name: 'config/running.conf', bytes: version(n) }];
    const capture = { device, at, source: 'round', release: '7.2.4', slot: '1', run: null, files } as const;
    ids.push((await archive.put(capture)).id);
  }
  return ids;
}

async function textOf(id: string): Promise<string> {
  return Buffer.from((await archive.get(id)).files[0]!.bytes).toString();
}

function diskSize(below: string): number {
  return Number(
    execFileSync('du', ['-sb', path.join(folder, below)])
      .toString()
      .split('\t')[0],
  );
}

describe('pieces', () => {
  it('joined are the bytes, whatever the bytes', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 40_000, size: 'max' }), (bytes) => {
        expect(Buffer.concat(cutIntoPieces(bytes)).equals(Buffer.from(bytes))).toBe(true);
      }),
      { numRuns: 30 },
    );
  });

  it('stay the same behind an insertion', () => {
    const before = cutIntoPieces(version(0)).map((p) => Buffer.from(p).toString());
    const longer = Buffer.concat([Buffer.from('one more line\n'), version(0)]);
    const after = new Set(cutIntoPieces(longer).map((p) => Buffer.from(p).toString()));
    expect(before.filter((piece) => !after.has(piece)).length).toBeLessThanOrEqual(2);
  });
});

describe('packing', () => {
  it('makes a long history small, and every capture comes out as it went in', async () => {
    const ids = [...(await putVersions(0, 40)), ...(await putVersions(0, 20, 'sandgate-1'))];
    const before = diskSize('captures');
    await tidy(archive.inside);
    expect(readdirSync(path.join(folder, 'packs'))).toHaveLength(2);
    expect(diskSize('packs')).toBeLessThan(before / 5);
    for (const [i, id] of ids.entries()) expect(await textOf(id)).toBe(version(i % 40).toString());
    expect(await verifyArchive(archive.inside)).toMatchObject({ good: true, captures: 60, goodCaptures: 60 });
  });

  it('adds to the pack that is there, also for one who opened the archive before', async () => {
    const other = await openArchive({ folder, key });
    const first = await putVersions(0, 20);
    await tidy(archive.inside);
    await other.list();
    const second = await putVersions(20, 40);
    await tidy(archive.inside);
    expect(readdirSync(path.join(folder, 'packs'))).toHaveLength(1);
    for (const [i, id] of [...first, ...second].entries())
      expect(Buffer.from((await other.get(id)).files[0]!.bytes).equals(version(i))).toBe(true);
    await other.close();
  });

  it('leaves a pack whose pieces stand in another order as it is, and begins a new one', async () => {
    const [id] = await putVersions(0, 1);
    const { inside } = archive;
    const record = inside.catalogue.record(id!)!;
    const half = 30_000;
    const entries = [
      { name: 'pieces/1', bytes: version(0).subarray(half) },
      { name: 'pieces/2', bytes: version(0).subarray(0, half) },
      { name: `captures/${id}/config/running.conf.pieces`, bytes: Buffer.from('pieces/2\npieces/1\n') },
      { name: `captures/${id}/capture.json`, bytes: Buffer.from(JSON.stringify(record)) },
    ];
    const plain = await compressed(packTar(entries, new Date(0)));
    const container = await writeContainer(
      folder,
      'packs/old.tar.zst.age',
      plain,
      inside.sealing,
      async () => {},
    );
    const { device } = record;
    await inside.alone(() =>
      inside.append([{ kind: 'packed', device, in: container, raw: 70_000, adds: [id!], replaces: null }]),
    );
    const more = await putVersions(1, 20);
    await tidy(inside);
    expect(readdirSync(path.join(folder, 'packs'))).toHaveLength(2);
    for (const [n, one] of [id!, ...more].entries()) expect(await textOf(one)).toBe(version(n).toString());
    expect((await verifyArchive(inside)).goodCaptures).toBe(20);
  });

  it('keeps an unchanged capture readable when the one it equals is packed', async () => {
    await putVersions(0, 17);
    const [again] = await putVersions(3, 4);
    await tidy(archive.inside);
    expect(await textOf(again!)).toBe(version(3).toString());
  });

  it('is unpacked by age, zstd and tar alone', async () => {
    const ids = await putVersions(0, 20);
    await tidy(archive.inside);
    const home = path.join(folder, 'home');
    execFileSync('mkdir', [home]);
    writeFileSync(path.join(home, 'identity.txt'), `${key.identity}\n`);
    const run = (command: string) => execFileSync('sh', ['-ec', command], { cwd: home }).toString();
    run('age -d -i identity.txt ../packs/*.tar.zst.age | zstd -d > pack.tar');
    run('tar -xf pack.tar captures');
    for (const [n, id] of ids.entries())
      expect(run(`tar -xOf pack.tar -T captures/${id}/config/running.conf.pieces`)).toBe(
        version(n).toString(),
      );
    const lines = run('for s in ../manifest/*.age; do age -d -i identity.txt $s | zstd -d; done');
    expect(lines).toContain(ids[7]);
  });
});
