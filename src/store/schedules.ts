import type { Kysely } from 'kysely';
import type { Schema } from './schema.ts';

/** Something that comes round by a recurrence, such as the round over the estate. */
export interface Schedule {
  /** A rule of RFC 5545 section 3.3.10, the IANA time zone it is counted in, and its local start. */
  readonly rule: string;
  readonly zone: string;
  readonly start: string;
  readonly setAt: string;
  /** RFC 3339: the occurrence that was last carried out to its end; null: none yet. */
  readonly doneAt: string | null;
}

export class Schedules {
  readonly #db: Kysely<Schema>;

  constructor(db: Kysely<Schema>) {
    this.#db = db;
  }

  async set(name: string, schedule: Omit<Schedule, 'doneAt'>): Promise<void> {
    const { rule, zone, start, setAt } = schedule;
    const values = { rule, zone, start, set_at: setAt, done_at: null };
    await this.#db
      .insertInto('schedule')
      .values({ name, ...values })
      .onConflict((c) => c.column('name').doUpdateSet(values))
      .execute();
  }

  async get(name: string): Promise<Schedule | null> {
    const row = await this.#db.selectFrom('schedule').selectAll().where('name', '=', name).executeTakeFirst();
    if (row === undefined) return null;
    const { rule, zone, start, set_at, done_at } = row;
    return { rule, zone, start, setAt: set_at, doneAt: done_at };
  }

  /** Notes that the occurrence was carried out. Nothing when the schedule was cleared meanwhile. */
  async done(name: string, occurrence: string): Promise<void> {
    await this.#db.updateTable('schedule').set({ done_at: occurrence }).where('name', '=', name).execute();
  }

  /** Was there one? */
  async clear(name: string): Promise<boolean> {
    const { numDeletedRows } = await this.#db
      .deleteFrom('schedule')
      .where('name', '=', name)
      .executeTakeFirst();
    return numDeletedRows > 0n;
  }
}
