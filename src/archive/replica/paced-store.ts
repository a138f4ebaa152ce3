import { setTimeout as sleep } from 'node:timers/promises';
import type { ReplicaStore } from './store.ts';

/**
 * The same store, used no faster than `bytesPerSecond` on average: after each file it waits as long as the file
 * should have taken. `now` in milliseconds and `wait` are for tests.
 */
export function pacedStore(
  store: ReplicaStore,
  bytesPerSecond: number,
  now: () => number = () => performance.now(),
  wait: (milliseconds: number) => Promise<unknown> = sleep,
): ReplicaStore {
  let free = now();
  async function pace(bytes: number): Promise<void> {
    free = Math.max(free, now()) + (bytes / bytesPerSecond) * 1000;
    const ahead = free - now();
    if (ahead > 0) await wait(ahead);
  }
  return {
    where: store.where,
    list: () => store.list(),
    remove: (name) => store.remove(name),
    async read(name) {
      const bytes = await store.read(name);
      await pace(bytes?.length ?? 0);
      return bytes;
    },
    async write(name, bytes) {
      await store.write(name, bytes);
      await pace(bytes.length);
    },
  };
}
