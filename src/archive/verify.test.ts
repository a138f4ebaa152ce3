import { cpSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type FolderArchive, openArchive } from './archive.ts';
import { deleteCaptures } from './keeping.ts';
import { type ArchiveKey, freshKey } from './key.ts';
import { tidy } from './packing.ts';
import { reindexArchive } from './reindex.ts';
import { verifyArchive } from './verify.ts';

let home: string;
let folder: string;
let witness: string;
let key: ArchiveKey;
const open: FolderArchive[] = [];

async function opened(): Promise<FolderArchive> {
  const archive = await openArchive({ folder, key, witness });
  open.push(archive);
  return archive;
}

async function put(archive: FolderArchive, n: number, device = 'lantern-1') {
  const at = new Date(Date.UTC(2026, 0, 1 + n)).toISOString();
  const files = [{ name: 'running.conf', bytes: Buffer.from(`${device} version ${n}\n`) }];
  return archive.put({ device, at, source: 'round', release: null, slot: null, run: null, files });
}

/** Everything that holds lines of the manifest, in order. */
function segments(): string[] {
  const manifest = path.join(folder, 'manifest');
  return readdirSync(manifest)
    .sort()
    .map((name) => path.join(manifest, name));
}

function containers(): string[] {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.name.endsWith('.tar.zst.age'))
    .map((entry) => path.join(entry.parentPath, entry.name))
    .sort();
}

function flip(file: string, at: (size: number) => number): void {
  const bytes = readFileSync(file);
  bytes[at(bytes.length)]! ^= 0x10;
  writeFileSync(file, bytes);
}

beforeEach(async () => {
  home = mkdtempSync(path.join(tmpdir(), 'verify-'));
  folder = path.join(home, 'archive');
  witness = path.join(home, 'witness.json');
  key = await freshKey();
  const archive = await opened();
  for (let n = 0; n < 5; n += 1) await put(archive, n);
});
afterEach(async () => {
  for (const archive of open.splice(0)) await archive.close();
  rmSync(home, { recursive: true, force: true });
});

async function verified() {
  const archive = await opened();
  return { archive, report: await verifyArchive(archive.inside) };
}

describe('verification', () => {
  it('finds nothing wrong with what was written', async () => {
    expect((await verified()).report).toMatchObject({ good: true, captures: 5, goodCaptures: 5, lines: 6 });
  });

  it('finds one flipped bit, wherever it is, and names exactly the capture that is lost', async () => {
    const file = containers()[2]!;
    const whole = readFileSync(file);
    for (let at = 0; at < whole.length; at += 29) {
      writeFileSync(file, whole);
      flip(file, () => at);
      const { report } = await verified();
      expect(report).toMatchObject({ good: false, goodCaptures: 4, manifest: [] });
      expect(report.files.map((f) => f.lost)).toEqual([[expect.stringMatching(/^20260103T000000Z/)]]);
      await open.pop()!.close();
    }
  });

  it('finds one flipped bit in a line of the manifest, wherever it is, and opens all the same', async () => {
    const file = segments()[3]!;
    const whole = readFileSync(file);
    for (let at = 0; at < whole.length; at += 31) {
      writeFileSync(file, whole);
      flip(file, () => at);
      const { report } = await verified();
      expect(report).toMatchObject({ good: false, goodCaptures: 4, manifest: [{ first: 4, last: 4 }] });
      await open.pop()!.close();
    }
  });

  it('finds a missing file', async () => {
    rmSync(containers()[0]!);
    const { report } = await verified();
    expect(report.files).toMatchObject([{ why: 'The file is missing.' }]);
    expect(report.goodOf.get('lantern-1')).toHaveLength(4);
  });

  it('finds a damaged line, and the lines after it are still good', async () => {
    flip(segments()[2]!, (size) => size - 5);
    const { report } = await verified();
    expect(report.manifest).toMatchObject([{ first: 3, last: 3 }]);
    expect(report.goodCaptures).toBe(4);
    expect(report.unknown).toHaveLength(1);
  });

  it('finds a line taken out of the middle', async () => {
    rmSync(segments()[2]!);
    expect((await verified()).report.manifest).toMatchObject([
      { first: 3, last: 3, why: 'These lines are missing.' },
    ]);
  });

  it('finds a tail cut off', async () => {
    for (const file of segments().slice(4)) rmSync(file);
    const { report } = await verified();
    expect(report.manifest[0]).toMatchObject({ first: 5, last: 6 });
    expect(report.unknown).toHaveLength(2);
  });

  it('still knows of a tail cut off after more was stored', async () => {
    for (const file of segments().slice(4)) rmSync(file);
    const archive = await opened();
    await put(archive, 8);
    await put(archive, 9);
    const { report } = await verified();
    expect(report.noticed).toEqual([expect.stringMatching(/lines 5 to 6: They are gone/), expect.anything()]);
    expect(report).toMatchObject({ captures: 5, goodCaptures: 5, manifest: [] });
    expect(report.unknown).toHaveLength(2);
  });

  it('finds two lines that have changed places', async () => {
    const [, , a, b] = segments();
    renameSync(a!, `${a}.x`);
    renameSync(b!, a!);
    renameSync(`${a}.x`, b!);
    const { report } = await verified();
    expect(report.manifest.map((fault) => fault.first)).toEqual([3, 4]);
  });

  it('finds a line of another archive with the same key put in place of its own', async () => {
    const elsewhere = path.join(home, 'elsewhere');
    const other = await openArchive({ folder: elsewhere, key });
    for (let n = 10; n < 15; n += 1) await put(other, n);
    await other.close();
    const name = path.basename(segments()[3]!);
    cpSync(path.join(elsewhere, 'manifest', name), path.join(folder, 'manifest', name));
    expect((await verified()).report.manifest[0]).toMatchObject({ first: 4 });
  });

  it('finds that the whole archive was put back to an earlier state, by the witness outside', async () => {
    const earlier = path.join(home, 'earlier');
    cpSync(folder, earlier, { recursive: true });
    await put(open[0]!, 5);
    rmSync(folder, { recursive: true });
    cpSync(earlier, folder, { recursive: true });
    const { report } = await verified();
    expect(report.manifest).toMatchObject([{ first: 7, last: 7 }]);
    expect(report.goodCaptures).toBe(5);
  });

  it('does not take a line that another key has signed', async () => {
    const { archive } = await verified();
    const forger = await openArchive({ folder: path.join(home, 'forged'), key: await freshKey() });
    for (let n = 0; n < 6; n += 1) await put(forger, n);
    await forger.close();
    cpSync(
      path.join(home, 'forged/manifest/00000007-00000007.jsonl.zst.age'),
      `${folder}/manifest/00000007-00000007.jsonl.zst.age`,
    );
    expect(await archive.list()).toHaveLength(5);
    expect((await verifyArchive(archive.inside)).manifest).toMatchObject([{ first: 7, last: 7 }]);
  });

  it('finds nothing wrong while another writer stores, packs and deletes', { timeout: 60_000 }, async () => {
    const [reader, writer] = [await opened(), await opened()];
    let writing = true;
    const written = (async () => {
      for (let n = 10; writing; n += 1) {
        const { id } = await put(writer, n, `lantern-${n % 3}`);
        if (n % 5 === 0) await tidy(writer.inside, 2);
        if (n % 7 === 0) await deleteCaptures(writer.inside, [id], 'a test', true);
        await new Promise((resolve) => setTimeout(resolve, 5));
      }
    })();
    const reports = [];
    for (let time = 0; time < 12; time += 1) reports.push(await verifyArchive(reader.inside));
    writing = false;
    await written;
    for (const { manifest, files, unknown } of reports)
      expect({ manifest, files, unknown }).toEqual({ manifest: [], files: [], unknown: [] });
  });

  it('goes on after damage: new captures are stored and good', async () => {
    flip(segments()[5]!, (size) => size - 5);
    const { archive } = await verified();
    await put(archive, 9);
    const { report } = await verified();
    expect(report.manifest).toMatchObject([{ first: 6, last: 6 }]);
    expect(report.goodCaptures).toBe(5);
  });
});

describe('reindexing', () => {
  it('finds every capture again when the whole manifest is gone', async () => {
    const archive = await opened();
    for (let n = 0; n < 20; n += 1) await put(archive, n, 'tidewatch-2');
    await tidy(archive.inside);
    const before = await archive.list();
    rmSync(path.join(folder, 'manifest'), { recursive: true });
    rmSync(path.join(folder, 'head.json'));
    const again = await opened();
    expect(await again.list()).toEqual([]);
    const report = await reindexArchive(again.inside);
    expect(report).toMatchObject({ known: 0, unreadable: [] });
    expect(report.found).toHaveLength(25);
    expect(await again.list()).toEqual(before);
    for (const { id, digest } of before) expect((await again.get(id)).record.digest).toBe(digest);
  });

  it('takes in the captures whose lines were cut, and notes that they were', async () => {
    for (const file of segments().slice(3)) rmSync(file);
    const { archive } = await verified();
    const report = await reindexArchive(archive.inside);
    expect(report.found).toHaveLength(3);
    expect(report.noticed[0]).toMatch(/^lines 4 to 6: They are gone/);
    expect(await archive.list('lantern-1')).toHaveLength(5);
    expect(await verifyArchive(archive.inside)).toMatchObject({ goodCaptures: 5, unknown: [] });
  });
});
