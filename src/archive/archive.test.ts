import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { openArchive } from './archive.ts';
import { type ArchiveKey, freshKey, sealer } from './key.ts';
import { createKey, unlockKey } from './key-ring.ts';
import type { NewCapture } from './port.ts';

let folder: string;
let key: ArchiveKey;
beforeEach(async () => {
  folder = mkdtempSync(path.join(tmpdir(), 'archive-'));
  key = await freshKey();
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

function captureOf(text: string, more: Partial<NewCapture> = {}): NewCapture {
  return {
    device: 'gull-quay-1',
    at: '2026-03-01T04:00:00Z',
    source: 'round',
    release: '7.2.4',
    slot: '1',
    run: null,
    files: [{ name: 'running.conf', bytes: Buffer.from(text) }],
    ...more,
  };
}

describe('an archive', () => {
  it('gives back the bytes it was given, after it was closed and opened again', async () => {
    const files = [
      { name: '/etc/running.conf', bytes: Buffer.from('hostname gull-quay-1\n') },
      { name: 'certs/ünïcode näme.pem', bytes: new Uint8Array([0, 255, 10, 13]) },
      { name: 'empty', bytes: new Uint8Array() },
    ];
    const archive = await openArchive({ folder, key });
    const { id } = await archive.put(captureOf('', { files }));
    await archive.close();
    const again = await openArchive({ folder, key });
    const { record, files: back } = await again.get(id);
    expect(record).toMatchObject({ id, device: 'gull-quay-1', release: '7.2.4', slot: '1' });
    expect(back.map((f) => [f.name, Buffer.from(f.bytes).toString('hex')]).sort()).toEqual(
      files.map((f) => [f.name, Buffer.from(f.bytes).toString('hex')]).sort(),
    );
    await again.close();
  });

  it('stores an unchanged configuration once', async () => {
    const archive = await openArchive({ folder, key });
    const first = await archive.put(captureOf('a'));
    await archive.put(captureOf('b', { at: '2026-03-02T04:00:00Z' }));
    const third = await archive.put(captureOf('a', { at: '2026-03-03T04:00:00Z' }));
    expect(third.digest).toBe(first.digest);
    expect(Buffer.from((await archive.get(third.id)).files[0]!.bytes).toString()).toBe('a');
    expect(readdirSync(path.join(folder, 'captures/00000'))).toHaveLength(2);
    expect((await archive.list('gull-quay-1')).map((r) => r.at.slice(0, 10))).toEqual([
      '2026-03-01',
      '2026-03-02',
      '2026-03-03',
    ]);
    await archive.close();
  });

  it('is written by two at once, each seeing what the other stored', async () => {
    const one = await openArchive({ folder, key });
    const two = await openArchive({ folder, key });
    const put = (archive: typeof one, i: number) => archive.put(captureOf(`version ${i}`));
    const records = await Promise.all([0, 1, 2, 3, 4, 5].map((i) => put(i % 2 === 0 ? one : two, i)));
    expect(new Set(records.map((r) => r.id)).size).toBe(6);
    expect(await one.list()).toEqual(await two.list());
    for (const [i, { id }] of records.entries())
      expect(Buffer.from((await one.get(id)).files[0]!.bytes).toString()).toBe(`version ${i}`);
    await one.close();
    await two.close();
  });

  it('stores what comes at once in one file of the manifest, equal ones once', async () => {
    const archive = await openArchive({ folder, key });
    const texts = ['a', 'b', 'a', 'c', 'b', 'a'];
    const records = await Promise.all(texts.map((text) => archive.put(captureOf(text))));
    expect(readdirSync(path.join(folder, 'captures/00000'))).toHaveLength(3);
    expect(readdirSync(path.join(folder, 'manifest'))).toHaveLength(2);
    for (const [i, { id }] of records.entries())
      expect(Buffer.from((await archive.get(id)).files[0]!.bytes).toString()).toBe(texts[i]);
    await archive.close();
    const again = await openArchive({ folder, key });
    expect((await again.list()).map(({ id }) => id)).toEqual(records.map(({ id }) => id));
    await again.close();
  });

  it('takes what was asked for before it was closed', async () => {
    const archive = await openArchive({ folder, key });
    const puts = ['a', 'b', 'c'].map((text) => archive.put(captureOf(text)));
    await archive.close();
    expect(await Promise.all(puts)).toHaveLength(3);
    await expect(archive.put(captureOf('d'))).rejects.toMatchObject({ code: 'archive/closed' });
  });

  it('says so when the bytes on the disk have changed', async () => {
    const archive = await openArchive({ folder, key });
    const { id } = await archive.put(captureOf('a'));
    const file = path.join(folder, 'captures/00000', readdirSync(path.join(folder, 'captures/00000'))[0]!);
    const bytes = readFileSync(file);
    bytes[bytes.length - 1]! ^= 1;
    writeFileSync(file, bytes);
    await expect(archive.get(id)).rejects.toMatchObject({ code: 'archive/damaged' });
    rmSync(file);
    await expect(archive.get(id)).rejects.toMatchObject({ code: 'archive/damaged' });
    await archive.close();
  });

  it('refuses a key of another archive', async () => {
    await (await openArchive({ folder, key })).close();
    await expect(openArchive({ folder, key: await freshKey() })).rejects.toMatchObject({
      code: 'archive/wrong-key',
    });
  });

  it.each([
    ['a name that climbs out', { files: [{ name: '../x', bytes: Buffer.from('x') }] }, 'archive/bad-name'],
    ['a capture without files', { files: [] }, 'archive/bad-capture'],
    ['a time without a zone', { at: '2026-03-01T04:00:00' }, 'archive/bad-capture'],
  ])('refuses %s', async (_, wrong, code) => {
    const archive = await openArchive({ folder, key });
    await expect(archive.put(captureOf('a', wrong))).rejects.toMatchObject({ code });
    await archive.close();
  });
});

describe('a key', () => {
  it('is unlocked by passphrase and by key file, and by nothing else', async () => {
    const keyFile = path.join(folder, 'elsewhere', 'key.txt');
    const archive = path.join(folder, 'archive');
    const made = await createKey(archive, { passphrase: 'four invented harbour words', keyFile, work: 4 });
    for (const way of [{ passphrase: 'four invented harbour words' }, { keyFile }])
      expect((await unlockKey(archive, way)).identity).toBe(made.identity);
    await expect(unlockKey(archive, { passphrase: 'wrong' })).rejects.toMatchObject({
      code: 'archive/wrong-key',
    });
    await expect(unlockKey(archive, { identity: key.identity })).rejects.toMatchObject({
      code: 'archive/wrong-key',
    });
    await expect(unlockKey(archive, {})).rejects.toMatchObject({ code: 'archive/no-key' });
    await expect(createKey(archive, { passphrase: 'x' })).rejects.toMatchObject({
      code: 'archive/key-exists',
    });
  });

  it('seals small secrets so that the age program opens them', async () => {
    const sealing = sealer(key);
    const sealed = await sealing.seal(Buffer.from('community string'));
    expect(Buffer.from(await sealing.open(sealed)).toString()).toBe('community string');
    writeFileSync(path.join(folder, 'identity'), `${key.identity}\n`);
    const plain = execFileSync('age', ['-d', '-i', path.join(folder, 'identity')], { input: sealed });
    expect(plain.toString()).toBe('community string');
  });
});
