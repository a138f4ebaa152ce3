import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, it } from 'vitest';
import { openLink, readHandbook, withRetry } from '#links';
import { type ContractWorld, linkContract, type ReleaseFile } from '#links/port';
import { estate } from './estate/estate.ts';
import { modelOf } from './estate/models.ts';
import { makePracticeImage, type PracticeImageOptions } from './image/make.ts';
import { startPractice } from './start.ts';

const folder = mkdtempSync(join(tmpdir(), 'practice-handbooks-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const handbookOf = (name: string) =>
  readHandbook(
    fileURLToPath(new URL(`../../handbooks/${name}.yaml`, import.meta.url)),
    `handbooks/${name}.yaml`,
  );

async function file(options: Omit<PracticeImageOptions, 'out'>): Promise<ReleaseFile> {
  const out = join(folder, `${options.flaw ?? 'sound'}-${options.models.join()}.rel`.replaceAll(' ', '-'));
  const { size, sha256 } = await makePracticeImage({ ...options, out });
  return { path: out, name: basename(out), size, sha256 };
}

let count = 0;
/** A fresh practice device, with a link opened by its ordinary handbook. */
async function world(name: string): Promise<ContractWorld> {
  const practice = await startPractice({ folder: join(folder, `${++count}`), bootMs: 50, only: [name] });
  const device = practice.devices[0]!;
  const handbook = await handbookOf(device.handbook);
  const secrets = { privateKey: readFileSync(device.key, 'utf8'), upkeep: device.upkeepWord };
  const surroundings = { pinHostKey: async () => {}, now: () => new Date().toISOString() };
  const open = () => openLink(device, handbook, secrets, surroundings);
  const models = [device.model];
  // Reading calls wait for a boot to end, as a run does.
  const sleep = (seconds: number) => new Promise<void>((done) => setTimeout(done, seconds * 1000));
  const link = withRetry(await open(), { attempts: 8, pauseSeconds: 0.02, sleep });
  const own = practice.device(name).configuration('1');
  return {
    link,
    file: await file({ models, release: '9.1.0' }),
    release: '9.1.0',
    forged: await file({ models, release: '9.1.0', flaw: 'signed-by-a-stranger' }),
    configuration: [...own].map(([each, bytes]) => ({
      name: each,
      bytes: each === 'policy.nft' ? Buffer.from(`# changed\n${Buffer.from(bytes)}`) : bytes,
    })),
    async reopen() {
      await practice.device(name).reach('up');
      return open();
    },
    async stop() {
      await link.close();
      await practice.stop();
    },
  };
}

describe.each(['gull-quay-fw1', 'north-mole-fw1', 'tidewatch-gate'])('%s, driven by its handbook', (name) => {
  const device = estate.devices.find((each) => each.name === name)!;
  const { slots } = modelOf(device.model);
  for (const { statement, twoSlots, check } of linkContract) {
    if (twoSlots === true && slots === 1) continue;
    it(statement, async () => {
      const made = await world(name);
      try {
        await check(made);
      } finally {
        await made.stop();
      }
    });
  }

  it('gives a reading of everything the handbook names', async () => {
    const made = await world(name);
    try {
      const reading = await made.link.reading();
      expect(reading.notRead).toEqual([]);
      expect(reading.interfaces).toHaveLength(device.zones.length);
      expect(reading.interfaces.every((each) => each.oper === 'up' && each.counterBits === 64)).toBe(true);
      expect(reading.interfaces[0]?.inOctets).toBeGreaterThan(2n ** 32n);
      expect(reading.loss).toHaveLength(3);
      expect(reading.memory?.totalBytes).toBe(modelOf(device.model).memoryBytes);
    } finally {
      await made.stop();
    }
  });
});
