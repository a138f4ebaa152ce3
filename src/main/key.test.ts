import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { expect, test } from 'vitest';
import { createKey, unlockKey } from '#archive';

test('of several that make the first key at once, one does; its key is the one that opens', async () => {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'tuckpoint-key-'));
  const keyFile = path.join(folder, 'key.txt');
  const data = path.join(folder, 'data');
  // The key file is there already, so that only the ring itself can be fought over.
  await createKey(path.join(folder, 'other'), { keyFile });
  const made = await Promise.allSettled([1, 2, 3, 4].map(() => createKey(data, { keyFile })));
  const keys = made.flatMap((result) => (result.status === 'fulfilled' ? [result.value.identity] : []));
  expect(keys).toHaveLength(1);
  expect((await unlockKey(data, { keyFile })).identity).toBe(keys[0]);
  rmSync(folder, { recursive: true, force: true });
});
