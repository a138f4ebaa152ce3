import { expect, test } from 'vitest';
import type { Reading } from '#core/reading';
import type { RunContext } from '../run-context.ts';
import { settledReading } from './reading.ts';

const MiB = 1024 ** 2;

/** A reading with so much free memory, of 512 MiB. */
function withFree(mebibytes: number): Reading {
  return {
    at: '2026-11-25T10:00:00Z',
    boot: 'b',
    uptimeSeconds: 5,
    interfaces: [],
    memory: { totalBytes: 512 * MiB, freeBytes: mebibytes * MiB },
    processorPercent: null,
    loss: [],
    alarms: [],
    fields: {},
    notRead: [],
  };
}

/** What the step remembers when the device shows these, one after the other; the last one from then on. */
async function settled(...free: number[]) {
  let looks = 0;
  const run = {
    facts: { readingBefore: withFree(400) },
    device: { name: 'gull-quay-fw1' },
    id: 'r1',
    link: async () => ({ reading: async () => withFree(free[Math.min(looks++, free.length - 1)] ?? 0) }),
    environment: { store: { observations: { addReading: async () => {} } }, sleep: async () => {} },
  } as unknown as RunContext;
  const facts = await settledReading('reading-after', 'readingAfter', () => true).act(run);
  return { looks, free: (facts?.readingAfter?.memory?.freeBytes ?? 0) / MiB };
}

test('a good first look does not hide a device that gets worse while it settles', async () => {
  expect(await settled(400, 100)).toMatchObject({ free: 100 });
});

test('a device that is well twice is well', async () => {
  expect(await settled(400, 400)).toEqual({ looks: 2, free: 400 });
});

test('a bad first look is forgiven when the device settles, and one that never does is judged by the last', async () => {
  expect(await settled(100, 100, 400)).toEqual({ looks: 3, free: 400 });
  expect(await settled(100)).toEqual({ looks: 4, free: 100 });
});
