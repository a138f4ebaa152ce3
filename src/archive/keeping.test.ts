import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { openContainer } from './container.ts';
import { applyRetention, deleteCaptures, nameCapture, previewRetention } from './keeping.ts';
import { Pack } from './pack.ts';
import { tidy } from './packing.ts';
import type { CaptureRecord } from './port.ts';
import { noteProof, noteVerified, standing } from './proof.ts';
import type { KeepRules } from './retention.ts';
import { scratchArchive } from './scratch.reference.ts';
import { verifyArchive } from './verify.ts';

const scratch = scratchArchive();
const RULES: KeepRules = { allForDays: 0, daily: 2, weekly: 0, monthly: 0, yearly: 0, zone: 'UTC' };
const now = () => scratch.archive.inside;

describe('retention', () => {
  it('deletes what it has shown, with a line that says so, and the bytes are gone', async () => {
    const records: CaptureRecord[] = [];
    for (let n = 0; n < 20; n += 1) records.push(await scratch.put(n));
    await tidy(now());
    await nameCapture(now(), records[4]!.id, 'before the winter change');
    const reserves = new Set([records[7]!.id]);
    const preview = await previewRetention(now(), RULES, reserves);
    expect(preview.filter((d) => d.keep).map((d) => d.because)).toEqual([
      ['named "before the winter change"'],
      ['reserve of a run'],
      ['newest of the device'],
    ]);
    const size = () =>
      Number(
        execFileSync('du', ['-sb', path.join(scratch.folder, 'packs')])
          .toString()
          .split('\t')[0],
      );
    const before = size();
    expect(await applyRetention(now(), preview, RULES, reserves)).toHaveLength(17);
    expect(size()).toBeLessThan(before);
    const left = await scratch.archive.list();
    expect(left.map((r) => r.id)).toEqual([4, 7, 19].map((n) => records[n]!.id));
    for (const { id } of left) await scratch.archive.get(id);
    await expect(scratch.archive.get(records[0]!.id)).rejects.toMatchObject({
      code: 'archive/unknown-capture',
    });
    const [shelf] = now().catalogue.shelves;
    const pack = await Pack.read(await openContainer(scratch.folder, shelf!.container, now().sealing));
    expect(pack.records.map((r) => r.id)).toEqual(left.map((r) => r.id));
    expect(await verifyArchive(now())).toMatchObject({ good: true, captures: 3 });
  });

  it('does not delete what was not in the preview, or was named since', async () => {
    const records = [];
    for (let n = 0; n < 4; n += 1) records.push(await scratch.put(n));
    const preview = await previewRetention(now(), RULES, new Set());
    await nameCapture(now(), records[1]!.id, 'kept after all');
    await scratch.put(4);
    expect(await applyRetention(now(), preview, RULES, new Set())).toEqual([records[0]!.id, records[2]!.id]);
  });

  it('keeps the bytes for an unchanged capture when the one it equals is deleted', async () => {
    const first = await scratch.put(0);
    const again = await scratch.put(0, { at: '2026-02-01T00:00:00Z' });
    await deleteCaptures(now(), [first.id], 'by hand');
    expect((await scratch.archive.get(again.id)).record.digest).toBe(first.digest);
    await scratch.put(1);
    await tidy(now(), 1);
    expect((await scratch.archive.get(again.id)).record.digest).toBe(first.digest);
    expect(await verifyArchive(now())).toMatchObject({ good: true, captures: 2 });
  });

  it('does not delete the last capture of a device, or a named one, without a word more', async () => {
    const { id } = await scratch.put(0);
    await expect(deleteCaptures(now(), [id], 'x')).rejects.toMatchObject({ code: 'archive/protected' });
    await deleteCaptures(now(), [id], 'device scrapped', true);
    expect(await scratch.archive.list()).toEqual([]);
    expect(readdirSync(path.join(scratch.folder, 'captures/00000'))).toEqual([]);
  });
});

describe('the standing of a device', () => {
  it('tells its last capture, and when it was last verified, rehearsed and restored', async () => {
    const a = await scratch.put(0);
    const b = await scratch.put(1);
    expect(await standing(now())).toEqual([
      {
        device: 'gull-quay-1',
        captures: 2,
        lastCapture: { id: b.id, at: b.at },
        lastVerified: null,
        lastRehearsed: null,
        lastRestored: null,
      },
    ]);
    await noteVerified(now(), await verifyArchive(now()));
    await noteProof(now(), 'restored', [a.id], 'restored by run 7');
    const c = await scratch.put(2);
    const [shown] = await standing(now());
    expect(shown).toMatchObject({
      lastCapture: { id: c.id },
      lastVerified: { id: b.id },
      lastRehearsed: null,
      lastRestored: { id: a.id },
    });
  });
});

it('no name of a device and no byte of a configuration can be read on the disk', async () => {
  for (let n = 0; n < 18; n += 1) await scratch.put(n);
  await tidy(now());
  await scratch.put(18);
  const files = readdirSync(scratch.folder, { recursive: true, withFileTypes: true }).filter((f) =>
    f.isFile(),
  );
  for (const file of files) {
    const at = path.join(file.parentPath, file.name);
    expect(at + readFileSync(at, 'latin1')).not.toMatch(/gull-quay|hostname|7\.2\.4/);
  }
});
