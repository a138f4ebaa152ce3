import type { Kysely } from 'kysely';
import { TuckpointError } from '#core/errors';
import type { Schema } from './schema.ts';

/** How long a lease lives without being renewed, in milliseconds. */
export const LEASE_MS = 60_000;

/** Who holds a lease: a process on a host, as far as another process can check that it still lives. */
export interface Holder {
  readonly host: string;
  readonly pid: number;
  /** When the process started, so that a reused process number is not taken for it. */
  readonly started: string;
}

/** The right to carry out a run on a device. Every write under it names the fence (a number that only grows). */
export interface Lease {
  readonly device: string;
  readonly run: string;
  readonly fence: number;
}

/** Tells whether a holder surely no longer lives; false when that cannot be told from here. */
export type IsGone = (holder: Holder) => boolean;

export class Leases {
  readonly #db: Kysely<Schema>;
  readonly #self: Holder;
  readonly #isGone: IsGone;

  constructor(db: Kysely<Schema>, self: Holder, isGone: IsGone) {
    this.#db = db;
    this.#self = self;
    this.#isGone = isGone;
  }

  /**
   * Takes the lease of a device for a run. A lease whose holder is gone, or that was not renewed in time, is taken
   * over with a higher fence. Throws `store/device-busy`.
   */
  async take(device: string, run: string, nowMs: number): Promise<Lease> {
    return await this.#db.transaction().execute(async (tx) => {
      const held = await tx.selectFrom('lease').selectAll().where('device', '=', device).executeTakeFirst();
      if (held !== undefined && held.run !== '' && held.expires_at > nowMs) {
        const holder = JSON.parse(held.holder) as Holder;
        if (!this.#isGone(holder)) throw busy(device, held.run, holder);
      }
      const fence = (held?.fence ?? 0) + 1;
      const values = { run, fence, holder: JSON.stringify(this.#self), expires_at: nowMs + LEASE_MS };
      await tx
        .insertInto('lease')
        .values({ device, ...values })
        .onConflict((c) => c.column('device').doUpdateSet(values))
        .execute();
      return { device, run, fence };
    });
  }

  /** Throws `store/lease-lost` when another process took over. */
  async renew(lease: Lease, nowMs: number): Promise<void> {
    const { numUpdatedRows } = await this.#db
      .updateTable('lease')
      .set({ expires_at: nowMs + LEASE_MS })
      .where('device', '=', lease.device)
      .where('fence', '=', lease.fence)
      .executeTakeFirst();
    if (numUpdatedRows === 0n) throw lost(lease);
  }

  /** Gives the lease back; the fence stays so that it only grows. Safe to repeat. */
  async release(lease: Lease): Promise<void> {
    await this.#db
      .updateTable('lease')
      .set({ run: '', expires_at: 0 })
      .where('device', '=', lease.device)
      .where('fence', '=', lease.fence)
      .execute();
  }
}

/** To be called inside the transaction that writes under the lease. Throws `store/lease-lost`. */
export async function assertHeld(tx: Kysely<Schema>, lease: Lease): Promise<void> {
  const held = await tx
    .selectFrom('lease')
    .select('fence')
    .where('device', '=', lease.device)
    .executeTakeFirst();
  if (held?.fence !== lease.fence) throw lost(lease);
}

function busy(device: string, run: string, holder: Holder): TuckpointError {
  return new TuckpointError(
    'store/device-busy',
    `Run ${run} is at work on ${device} (process ${holder.pid} on ${holder.host}).`,
    { place: { field: 'device' }, advice: 'Wait until it has ended; one run per device at a time.' },
  );
}

function lost(lease: Lease): TuckpointError {
  return new TuckpointError(
    'store/lease-lost',
    `Another process took over ${lease.device} while run ${lease.run} was at work.`,
    { advice: 'This process stops without touching the device again; the other one goes on.' },
  );
}
