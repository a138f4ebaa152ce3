import type { Kysely } from 'kysely';
import type { Reading } from '#core/reading';
import type { Pair, SlotState } from '#core/slots';
import { fromJson, toJson } from './json.ts';
import type { Schema } from './schema.ts';

/** A device as one look found it. */
export interface Sighting {
  /** RFC 3339, with zone. */
  readonly at: string;
  readonly model: string;
  readonly serial: string;
  /** The release it ran. */
  readonly release: string;
  readonly slots: SlotState;
}

/** What was seen of devices: readings, slots, and which pairs have booted well. */
export class Observations {
  readonly #db: Kysely<Schema>;

  constructor(db: Kysely<Schema>) {
    this.#db = db;
  }

  async addReading(device: string, run: string | null, reading: Reading): Promise<void> {
    await this.#db
      .insertInto('reading')
      .values({ device, run, at: reading.at, reading: toJson(reading) })
      .execute();
  }

  /** Newest first. */
  async readings(device: string, most: number): Promise<Reading[]> {
    const rows = await this.#db
      .selectFrom('reading')
      .select('reading')
      .where('device', '=', device)
      .orderBy('seq', 'desc')
      .limit(most)
      .execute();
    return rows.map((row) => fromJson<Reading>(row.reading));
  }

  async sawDevice(device: string, sighting: Sighting): Promise<void> {
    const values = { at: sighting.at, sighting: toJson(sighting) };
    await this.#db
      .insertInto('sighting')
      .values({ device, ...values })
      .onConflict((c) => c.column('device').doUpdateSet(values))
      .execute();
  }

  /** The device as last seen; null when never seen. */
  async lastSighting(device: string): Promise<Sighting | null> {
    const row = await this.#db
      .selectFrom('sighting')
      .selectAll()
      .where('device', '=', device)
      .executeTakeFirst();
    return row === undefined ? null : fromJson<Sighting>(row.sighting);
  }

  /** Remembers that this pair has booted well on this device. A pair with an unknown half is not remembered. */
  async bootedWell(device: string, pair: Pair, at: string, run: string | null): Promise<void> {
    if (pair.release === null || pair.configuration === null) return;
    await this.#db
      .insertInto('booted_pair')
      .values({ device, release: pair.release, configuration: pair.configuration, at, run })
      .onConflict((c) => c.columns(['device', 'release', 'configuration']).doUpdateSet({ at, run }))
      .execute();
  }

  async hasBootedWell(device: string, pair: Pair): Promise<boolean> {
    if (pair.release === null || pair.configuration === null) return false;
    const row = await this.#db
      .selectFrom('booted_pair')
      .select('at')
      .where('device', '=', device)
      .where('release', '=', pair.release)
      .where('configuration', '=', pair.configuration)
      .executeTakeFirst();
    return row !== undefined;
  }
}
