import { randomBytes } from 'node:crypto';
import { mkdirSync } from 'node:fs';
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { openArchive, sealer } from '#archive';
import type { Output, Workbench } from '#cli';
import { TuckpointError } from '#core/errors';
import { type Handbook, openLink } from '#links';
import { factsOf } from '#links/handbook';
import type { Link } from '#links/port';
import type { RunEnvironment } from '#runs';
import { type DeviceRecord, onlyDelivers, openStore, type Store } from '#store';
import { witnessOf } from './data-folder.ts';
import { loadHandbook } from './handbooks.ts';
import { keyFor } from './key.ts';

export interface OpenWorkbench extends Workbench {
  close(): Promise<void>;
}

/** Opens (and makes at need) a data folder: the key, the store, the archive, and the ways to devices. */
export async function openWorkbench(folder: string, out: Output): Promise<OpenWorkbench> {
  const key = await keyFor(folder, out);
  const store = await openStore({ folder, sealer: sealer(key) });
  const archive = await openArchive({
    folder: path.join(folder, 'archive'),
    key,
    ...witnessFor(folder, out),
  });
  const link = (device: DeviceRecord) => open(store, device);
  const runs: RunEnvironment = {
    store,
    archive,
    connect: link,
    deviceFacts: async (device) => factsOf(await handbookOf(device)),
    now,
    nowMs: () => performance.now(),
    sleep: (ms) => sleep(ms),
    newId,
  };
  return {
    folder,
    store,
    archive,
    runs,
    now,
    link,
    async close() {
      await archive.close();
      await store.close();
    },
  };
}

/** The file outside the data folder that notes how far the archive was; without one, when it cannot be written. */
function witnessFor(folder: string, out: Output): { witness?: string } {
  const witness = witnessOf(folder, process.env);
  try {
    mkdirSync(path.dirname(witness), { recursive: true, mode: 0o700 });
    return { witness };
  } catch {
    out.warn(`${witness} cannot be written: an archive put back to an earlier state would not be noticed.`);
    return {};
  }
}

/** Throws `store/only-delivers`, and what `loadHandbook` throws. */
async function handbookOf(device: DeviceRecord): Promise<Handbook> {
  if (!onlyDelivers(device)) return await loadHandbook(device.handbook);
  throw new TuckpointError(
    'store/only-delivers',
    `${device.name} only delivers: nothing says how to reach it.`,
    {
      advice: `To reach it, give its handbook, address and user: tuckpoint device add ${device.name}.`,
    },
  );
}

async function open(store: Store, device: DeviceRecord): Promise<Link> {
  const handbook = await handbookOf(device);
  const secrets = await store.devices.secrets(device.name);
  const { name, address, port, user, hostKey, own } = device;
  return await openLink({ name, address, port, user, hostKey, own }, handbook, secrets, {
    pinHostKey: (fingerprint) => store.devices.pinHostKey(name, fingerprint),
    now,
  });
}

/** RFC 3339 in the user's zone, to the millisecond. */
function now(): string {
  const at = new Date();
  const offset = -at.getTimezoneOffset();
  const local = new Date(at.getTime() + offset * 60_000).toISOString().slice(0, -1);
  if (offset === 0) return `${local}Z`;
  const two = (n: number) => String(Math.trunc(n)).padStart(2, '0');
  return `${local}${offset < 0 ? '-' : '+'}${two(Math.abs(offset) / 60)}:${two(Math.abs(offset) % 60)}`;
}

/** `20261125T101500Z-042-3f9a`: in the order of time whatever the zone (UTC, milliseconds), unlike any other. */
function newId(): string {
  const [seconds, milliseconds] = new Date().toISOString().replaceAll(/[-:Z]/g, '').split('.');
  return `${seconds}Z-${milliseconds}-${randomBytes(2).toString('hex')}`;
}
