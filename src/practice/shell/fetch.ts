import { createHash } from 'node:crypto';
import { closeSync, mkdirSync, openSync, renameSync, rmSync, writeSync } from 'node:fs';
import { get, type IncomingMessage } from 'node:http';
import { dirname } from 'node:path';
import type { PracticeDevice } from '../device/practice-device.ts';
import { Refusal } from '../device/refusal.ts';

/**
 * The device pulls a file over plain HTTP (RFC 9110). The file appears under its name only when it came whole.
 * Throws a Refusal for a bad address, a status other than 200, a full disk, a body shorter than announced.
 */
export async function fetchFile(
  device: PracticeDevice,
  url: string,
  name: string,
): Promise<{ bytes: number; sha256: string }> {
  const path = device.incomingPath(name);
  if (path === device.disk.incoming) throw new Refusal('the file needs a name');
  const { power } = device.machine;
  const answer = await open(url);
  if (answer.statusCode !== 200) {
    answer.destroy();
    throw new Refusal(`${url} answered ${answer.statusCode}`);
  }
  const beside = `${path}.part`;
  mkdirSync(dirname(path), { recursive: true });
  const free = device.operations.freeBytes;
  const hash = createHash('sha256');
  let bytes = 0;
  const file = openSync(beside, 'w', 0o600);
  try {
    for await (const chunk of answer as AsyncIterable<Buffer>) {
      const hang = device.machine.faults.find((fault) => fault.kind === 'hangs-in-transfer');
      if (hang !== undefined && bytes + chunk.length > hang.afterBytes) await new Promise<never>(() => {});
      device.machine.still(power);
      bytes += chunk.length;
      if (bytes > free) throw new Refusal('no space left');
      hash.update(chunk);
      writeSync(file, chunk);
    }
    const announced = answer.headers['content-length'];
    if (announced !== undefined && Number(announced) !== bytes) throw new Refusal(`${url} ended early`);
  } catch (error) {
    rmSync(beside, { force: true });
    const early = (error as NodeJS.ErrnoException).code === 'ECONNRESET';
    throw early ? new Refusal(`${url} ended early`) : error;
  } finally {
    closeSync(file);
    answer.destroy();
  }
  renameSync(beside, path);
  return { bytes, sha256: hash.digest('hex') };
}

function open(url: string): Promise<IncomingMessage> {
  if (!URL.canParse(url) || new URL(url).protocol !== 'http:') throw new Refusal(`${url} is no http address`);
  return new Promise((done, failed) => {
    get(url, done).on('error', (error) => failed(new Refusal(`${url} cannot be fetched: ${error.message}`)));
  });
}
