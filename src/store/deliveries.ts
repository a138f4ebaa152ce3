import type { Kysely } from 'kysely';
import { TuckpointError } from '#core/errors';
import type { Schema } from './schema.ts';

/** When a device should deliver: a rule of RFC 5545 section 3.3.10 in a time zone, and how late it may be. */
export interface Expectation {
  readonly rule: string;
  /** IANA time zone name. */
  readonly zone: string;
  readonly graceSeconds: number;
  /** RFC 3339: since when it is expected. */
  readonly setAt: string;
}

/** A thing that comes round, such as the round over the estate. */
export interface Schedule {
  readonly rule: string;
  readonly zone: string;
  readonly setAt: string;
  /** When it was last begun; null: never. */
  readonly lastAt: string | null;
}

/** Who may deliver, and what is expected when. Tokens are known by their digest only. */
export class Deliveries {
  readonly #db: Kysely<Schema>;

  constructor(db: Kysely<Schema>) {
    this.#db = db;
  }

  /** Lets whoever has the token of this digest deliver for the device; an earlier token of the device ends. */
  async allow(device: string, tokenDigest: string, at: string): Promise<void> {
    const values = { digest: tokenDigest, added_at: at };
    await this.#db
      .insertInto('delivery_token')
      .values({ device, ...values })
      .onConflict((c) => c.column('device').doUpdateSet(values))
      .execute();
  }

  async revoke(device: string): Promise<void> {
    await this.#db.deleteFrom('delivery_token').where('device', '=', device).execute();
  }

  async deviceWith(tokenDigest: string): Promise<string | null> {
    const row = await this.#db
      .selectFrom('delivery_token')
      .select('device')
      .where('digest', '=', tokenDigest)
      .executeTakeFirst();
    return row?.device ?? null;
  }

  async expect(device: string, expectation: Expectation): Promise<void> {
    const { rule, zone, graceSeconds, setAt } = expectation;
    const values = { rule, zone, grace_seconds: graceSeconds, set_at: setAt };
    await this.#db
      .insertInto('expectation')
      .values({ device, ...values })
      .onConflict((c) => c.column('device').doUpdateSet(values))
      .execute();
  }

  async expectNothing(device: string): Promise<void> {
    await this.#db.deleteFrom('expectation').where('device', '=', device).execute();
  }

  /** What is expected, by device. */
  async expectations(): Promise<Map<string, Expectation>> {
    const rows = await this.#db.selectFrom('expectation').selectAll().execute();
    return new Map(
      rows.map(({ device, rule, zone, grace_seconds, set_at }) => [
        device,
        { rule, zone, graceSeconds: grace_seconds, setAt: set_at },
      ]),
    );
  }

  async setSchedule(name: string, schedule: Omit<Schedule, 'lastAt'>): Promise<void> {
    const { rule, zone, setAt } = schedule;
    const values = { rule, zone, set_at: setAt, last_at: null };
    await this.#db
      .insertInto('schedule')
      .values({ name, ...values })
      .onConflict((c) => c.column('name').doUpdateSet(values))
      .execute();
  }

  async schedule(name: string): Promise<Schedule | null> {
    const row = await this.#db.selectFrom('schedule').selectAll().where('name', '=', name).executeTakeFirst();
    return row === undefined
      ? null
      : { rule: row.rule, zone: row.zone, setAt: row.set_at, lastAt: row.last_at };
  }

  async clearSchedule(name: string): Promise<void> {
    await this.#db.deleteFrom('schedule').where('name', '=', name).execute();
  }

  /** Throws `store/unknown-schedule`. */
  async begun(name: string, at: string): Promise<void> {
    const { numUpdatedRows } = await this.#db
      .updateTable('schedule')
      .set({ last_at: at })
      .where('name', '=', name)
      .executeTakeFirst();
    if (numUpdatedRows === 0n) {
      throw new TuckpointError('store/unknown-schedule', `Nothing is scheduled under the name "${name}".`);
    }
  }
}
