import { spawn } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { openStore, type Sealer, type Store } from './index.ts';
import { type Holder, LEASE_MS, Leases } from './leases.ts';

/** Turns every bit over: not a cipher, but nothing that was sealed stands in clear. */
const flip: Sealer = {
  seal: async (bytes) => bytes.map((b) => b ^ 0xff),
  open: async (bytes) => bytes.map((b) => b ^ 0xff),
};
const device = {
  name: 'gull-quay-fw1',
  site: 'Gull Quay',
  handbook: 'groyne-two-slot',
  address: '192.0.2.10',
  port: 22,
  user: 'keeper',
  own: { uplink: 'eth0' },
  secrets: { password: 'correct-horse-battery' },
};
const at = '2026-11-25T10:00:00Z';
let folder: string;
let store: Store;

beforeEach(async () => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'tuckpoint-store-'));
  store = await openStore({ folder, sealer: flip });
});
afterEach(async () => {
  await store.close();
  rmSync(folder, { recursive: true, force: true });
});

test('a password is never in clear in any file of the data folder', async () => {
  await store.devices.put(device, at);
  const all = readdirSync(folder).map((name) => readFileSync(path.join(folder, name), 'latin1'));
  expect(all.join('')).toContain('gull-quay-fw1');
  expect(all.join('')).not.toContain('correct-horse');
  expect(await store.devices.secrets('gull-quay-fw1')).toEqual(device.secrets);
});

test('an unknown device is named together with the known ones', async () => {
  await store.devices.put(device, at);
  await expect(store.devices.get('gull-quay-fw9')).rejects.toMatchObject({
    code: 'store/unknown-device',
    advice: 'Known devices: gull-quay-fw1.',
  });
});

test('a pinned host key stays when a device is put again, and goes when its address changes', async () => {
  await store.devices.put(device, at);
  await store.devices.pinHostKey(device.name, 'SHA256:abc');
  await store.devices.put({ ...device, user: 'other' }, at);
  expect((await store.devices.get(device.name)).hostKey).toBe('SHA256:abc');
  await store.devices.put({ ...device, address: '192.0.2.11' }, at);
  expect((await store.devices.get(device.name)).hostKey).toBeNull();
});

test('a second run on a busy device is refused, also by another opening of the store', async () => {
  const lease = await store.leases.take('gull-quay-fw1', 'r1', 0);
  const other = await openStore({ folder, sealer: flip });
  await expect(other.leases.take('gull-quay-fw1', 'r2', LEASE_MS - 1)).rejects.toMatchObject({
    code: 'store/device-busy',
  });
  await store.leases.release(lease);
  expect((await other.leases.take('gull-quay-fw1', 'r2', 1)).fence).toBe(lease.fence + 1);
  await other.close();
});

test('a lease not renewed in time is taken over, and its old holder can write no more', async () => {
  const old = await store.leases.take('gull-quay-fw1', 'r1', 0);
  await store.journal.begin(
    { id: 'r1', device: 'gull-quay-fw1', procedure: 'update', goal: {}, startedAt: at },
    old,
  );
  const taken = await store.leases.take('gull-quay-fw1', 'r1', LEASE_MS + 1);
  const line = { step: 'keep', state: 'started', at, detail: {} } as const;
  await expect(store.journal.write(old, line)).rejects.toMatchObject({ code: 'store/lease-lost' });
  await store.journal.write(taken, line);
  expect((await store.journal.entries('r1')).map((e) => e.step)).toEqual(['keep']);
});

test('a lease whose process is gone is taken over at once', async () => {
  const child = spawn(process.execPath, ['-e', '']);
  const pid = child.pid as number;
  await new Promise((resolve) => child.on('exit', resolve));
  const gone: Holder = { host: os.hostname(), pid, started: '1' };
  const { openDatabase } = await import('./database.ts');
  const db = await openDatabase(folder);
  await new Leases(db, gone, () => false).take('gull-quay-fw1', 'r1', 0);
  expect((await store.leases.take('gull-quay-fw1', 'r2', 1)).run).toBe('r2');
  await db.destroy();
});

test('facts of a run are merged and keep big counters exactly', async () => {
  const lease = await store.leases.take('d', 'r1', 0);
  await store.journal.begin(
    { id: 'r1', device: 'd', procedure: 'update', goal: { release: '2' }, startedAt: at },
    lease,
  );
  const line = { step: 'reading', state: 'done', at, detail: {} } as const;
  await store.journal.write(lease, line, { octets: 18446744073709551615n });
  await store.journal.write(lease, line, { boot: 'b1' });
  const run = await store.journal.get('r1');
  expect(run.facts).toEqual({ octets: 18446744073709551615n, boot: 'b1' });
  expect(run.goal).toEqual({ release: '2' });
});

test('the files a run is to bring are sealed, survive a stop, and are gone when it ends', async () => {
  const lease = await store.leases.take('d', 'r1', 0);
  const run = { id: 'r1', device: 'd', procedure: 'graft', goal: {}, startedAt: at };
  const files = [{ name: 'rules.nft', bytes: new Uint8Array([0, 255, 10, 13, 128]) }];
  await store.journal.begin(run, lease, files);
  expect(await store.journal.plannedFiles('r1')).toEqual(files);
  const ending = { decision: 'stopped', reason: '', report: null, at };
  await store.journal.end(lease, { ...ending, state: 'stopped' });
  expect(await store.journal.plannedFiles('r1')).toEqual(files);
  await store.journal.end(lease, { ...ending, state: 'ended' });
  expect(await store.journal.plannedFiles('r1')).toBeNull();
  expect(await store.journal.plannedFiles('r2')).toBeNull();
});

test('runs are in the order of their ids, also in the hour that the end of summer time repeats', async () => {
  const begun = [
    ['20261025T003000Z-000-9f00', '2026-10-25T02:30:00.000+02:00'],
    ['20261025T010500Z-007-0a01', '2026-10-25T02:05:00.007+01:00'],
    ['20261025T010500Z-012-0001', '2026-10-25T02:05:00.012+01:00'],
  ] as const;
  for (const [id, startedAt] of begun) {
    const lease = await store.leases.take('d', id, 0);
    await store.journal.begin({ id, device: 'd', procedure: 'update', goal: {}, startedAt }, lease);
    await store.leases.release(lease);
  }
  const ids = begun.map(([id]) => id);
  expect((await store.journal.unfinished()).map(({ id }) => id)).toEqual(ids);
  expect((await store.journal.list('d')).map(({ id }) => id)).toEqual(ids.reverse());
});

test('a pair with an unknown half has never booted well', async () => {
  await store.observations.bootedWell('d', { release: '1', configuration: null }, at, null);
  await store.observations.bootedWell('d', { release: '1', configuration: 'c' }, at, null);
  expect(await store.observations.hasBootedWell('d', { release: '1', configuration: null })).toBe(false);
  expect(await store.observations.hasBootedWell('d', { release: '1', configuration: 'c' })).toBe(true);
});

test('a data folder that cannot be written is one clear sentence', async () => {
  await expect(
    openStore({ folder: path.join(folder, 'tuckpoint.db', 'x'), sealer: flip }),
  ).rejects.toMatchObject({
    code: 'store/cannot-open',
  });
});
