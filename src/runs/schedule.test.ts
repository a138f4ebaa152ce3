import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { CaptureRecord } from '#archive';
import { openStore, type Store } from '#store';
import type { RunEnvironment } from './environment.ts';
import { lateDelivery, ROUND, roundDue } from './schedule.ts';

const nightly = { rule: 'FREQ=DAILY;BYHOUR=3', zone: 'UTC', start: '2026-01-01T00:00:00' };
const sealer = { seal: async (bytes: Uint8Array) => bytes, open: async (bytes: Uint8Array) => bytes };
let folder: string;
let store: Store;
beforeEach(async () => {
  folder = mkdtempSync(path.join(os.tmpdir(), 'tuckpoint-schedule-'));
  store = await openStore({ folder, sealer });
});
afterEach(async () => {
  await store.close();
  rmSync(folder, { recursive: true });
});

describe('the round over the estate', () => {
  const dueAt = (now: string) => roundDue({ store, now: () => now } as RunEnvironment);

  it('is not due before its first time, then due until it is done', async () => {
    expect(await dueAt('2026-03-01T12:00:00Z')).toBeNull();
    await store.schedules.set(ROUND, { ...nightly, setAt: '2026-03-01T12:00:00Z' });
    expect(await dueAt('2026-03-01T23:00:00Z')).toEqual({ due: null, next: '2026-03-02T03:00:00+00:00' });
    const { due } = (await dueAt('2026-03-02T04:00:00Z'))!;
    expect(due).toBe('2026-03-02T03:00:00+00:00');
    await store.schedules.done(ROUND, due!);
    expect((await dueAt('2026-03-02T04:00:01Z'))!.due).toBeNull();
  });

  it('comes again the next night after a clock was ten years ahead', async () => {
    await store.schedules.set(ROUND, { ...nightly, setAt: '2026-03-01T12:00:00Z' });
    await store.schedules.done(ROUND, '2036-03-02T03:00:00Z');
    expect((await dueAt('2026-03-02T12:00:00Z'))!.due).toBeNull();
    expect((await dueAt('2026-03-03T03:00:01Z'))!.due).toBe('2026-03-03T03:00:00+00:00');
  });
});

describe('a device expected every night, an hour allowed', () => {
  const expected = { ...nightly, graceSeconds: 3600, setAt: '2026-03-01T12:00:00Z' };
  const delivered = (at: string) => ({ at, source: 'delivery' }) as CaptureRecord;

  it('is late once the hour is over, and not when it has delivered', () => {
    expect(lateDelivery(expected, [], '2026-03-02T03:59:00Z')).toBeNull();
    expect(lateDelivery(expected, [], '2026-03-02T04:01:00Z')?.since).toBe('2026-03-02T03:00:00+00:00');
    const came = [delivered('2026-03-02T03:05:00Z')];
    expect(lateDelivery(expected, came, '2026-03-02T04:01:00Z')).toBeNull();
    expect(lateDelivery(expected, [{ ...came[0]!, source: 'run' }], '2026-03-02T04:01:00Z')).not.toBeNull();
  });

  it('is late although its last delivery is dated in ten years', () => {
    const wrong = [delivered('2026-03-02T03:05:00Z'), delivered('2036-03-02T03:05:00Z')];
    expect(lateDelivery(expected, wrong, '2026-03-04T05:00:00Z')?.reason).toContain('2026-03-02T03:05:00Z');
  });
});
