import { randomUUID } from 'node:crypto';
import { readFileSync } from 'node:fs';
import os from 'node:os';
import { openDatabase } from './database.ts';
import { Deliveries } from './deliveries.ts';
import { Devices } from './devices.ts';
import { Journal } from './journal.ts';
import { type Holder, Leases } from './leases.ts';
import { Observations } from './observations.ts';
import { Schedules } from './schedules.ts';
import type { Sealer } from './sealer.ts';
import { ServiceSecrets } from './service-secrets.ts';

export interface Store {
  readonly devices: Devices;
  readonly journal: Journal;
  readonly leases: Leases;
  readonly observations: Observations;
  readonly deliveries: Deliveries;
  readonly schedules: Schedules;
  readonly serviceSecrets: ServiceSecrets;
  close(): Promise<void>;
}

/**
 * Opens the store in a data folder, creating it at need. Several processes may have it open.
 * Throws `store/cannot-open` and `store/migration-failed`.
 */
export async function openStore(options: { folder: string; sealer: Sealer }): Promise<Store> {
  const db = await openDatabase(options.folder);
  return {
    devices: new Devices(db, options.sealer),
    journal: new Journal(db, options.sealer),
    leases: new Leases(db, thisProcess(), isGone),
    observations: new Observations(db),
    deliveries: new Deliveries(db),
    schedules: new Schedules(db),
    serviceSecrets: new ServiceSecrets(db, options.sealer),
    close: () => db.destroy(),
  };
}

function thisProcess(): Holder {
  return { host: os.hostname(), pid: process.pid, started: startOf(process.pid) ?? randomUUID() };
}

/** When a process of this host started, in the kernel's ticks since boot; null where the system does not tell. */
function startOf(pid: number): string | null {
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'latin1');
    // Field 22 (proc(5)); the command name before it is in parentheses and may hold spaces.
    return stat.slice(stat.lastIndexOf(')') + 2).split(' ')[19] ?? null;
  } catch {
    return null;
  }
}

function isGone(holder: Holder): boolean {
  if (holder.host !== os.hostname()) return false;
  try {
    process.kill(holder.pid, 0);
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'ESRCH';
  }
  const started = startOf(holder.pid);
  return started !== null && started !== holder.started;
}
