import { fork } from 'node:child_process';
import { once } from 'node:events';
import { deviceHistory, type HistorySize } from './history.ts';

/** One day of one device: its configuration, and whether it changed since the day before. */
export interface Day {
  readonly day: number;
  readonly bytes: Buffer;
  readonly changed: boolean;
}

/** How a process of this program is told to be the source of a history. */
export const AS_SOURCE = '--as-source';

/** The source: writes each day of a device as its length (0: unchanged) and bytes. */
export async function pourOut(size: HistorySize, device: number): Promise<void> {
  for (const { bytes, changed } of deviceHistory(size, device)) {
    const length = Buffer.alloc(4);
    length.writeUInt32LE(changed ? bytes.length : 0);
    process.stdout.write(length);
    if (changed && !process.stdout.write(bytes)) await once(process.stdout, 'drain');
  }
}

/** Reads exactly so many bytes at a time from a stream. */
function reader(stream: AsyncIterable<Buffer>) {
  const chunks = stream[Symbol.asyncIterator]();
  let rest: Buffer = Buffer.alloc(0);
  return async (length: number): Promise<Buffer> => {
    const whole = Buffer.allocUnsafeSlow(length);
    for (let at = 0; at < length; ) {
      if (rest.length === 0) {
        const next = await chunks.next();
        if (next.done === true) throw new Error('the source ended too early');
        rest = next.value;
      }
      const taken = rest.copy(whole, at);
      rest = rest.subarray(taken);
      at += taken;
    }
    return whole;
  };
}

/** The history of one device, made in a process of its own: what it costs to make is not measured. */
export async function* historyFrom(main: string, size: HistorySize, device: number): AsyncGenerator<Day> {
  const child = fork(main, [AS_SOURCE, JSON.stringify(size), String(device)], {
    stdio: ['ignore', 'pipe', 'inherit', 'ipc'],
  });
  const read = reader(child.stdout!);
  let bytes: Buffer = Buffer.alloc(0);
  for (let day = 0; day < size.days; day += 1) {
    const length = (await read(4)).readUInt32LE();
    if (length > 0) bytes = await read(length);
    yield { day, bytes, changed: length > 0 };
  }
  if (child.exitCode === null) await once(child, 'exit');
}
