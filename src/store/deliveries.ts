import type { Kysely, Selectable } from 'kysely';
import { TuckpointError } from '#core/errors';
import type { Schema } from './schema.ts';

/** What lets a device deliver: a token, known by its digest only, or the public half of an SSH key. */
export interface DeliveryAccess {
  /** Short name of it, for listing and revoking; says nothing of the secret. */
  readonly id: string;
  readonly device: string;
  readonly kind: 'token' | 'ssh-key';
  readonly addedAt: string;
  /** When something was last delivered with it; null: never. */
  readonly usedAt: string | null;
}

/** When a device should deliver, and how late it may be. */
export interface Expectation {
  /** A rule of RFC 5545 section 3.3.10, the IANA time zone it is counted in, and its local start. */
  readonly rule: string;
  readonly zone: string;
  readonly start: string;
  readonly graceSeconds: number;
  /** RFC 3339: since when it is expected. */
  readonly setAt: string;
}

/** Letters of a digest that make an id: enough for thousands of devices. */
const ID_LETTERS = 12;

/** Who may deliver, and what is expected when. All of a device's goes when the device is removed. */
export class Deliveries {
  readonly #db: Kysely<Schema>;

  constructor(db: Kysely<Schema>) {
    this.#db = db;
  }

  /** Lets whoever has the secret of this digest (hex) deliver for the device. Throws `store/key-taken`. */
  async allow(
    device: string,
    kind: DeliveryAccess['kind'],
    digest: string,
    at: string,
  ): Promise<DeliveryAccess> {
    const holder = await this.deviceWith(digest);
    if (holder !== null && holder !== device)
      throw new TuckpointError('store/key-taken', `This key delivers for ${holder} already.`, {
        advice: 'Give each device a key of its own, or revoke it there first.',
      });
    const id = digest.slice(0, ID_LETTERS);
    const row = { id, device, kind, digest, added_at: at, used_at: null };
    await this.#db
      .insertInto('delivery_access')
      .values(row)
      .onConflict((c) => c.column('digest').doNothing())
      .execute();
    return access(row);
  }

  async deviceWith(digest: string): Promise<string | null> {
    const row = await this.#db
      .selectFrom('delivery_access')
      .select('device')
      .where('digest', '=', digest)
      .executeTakeFirst();
    return row?.device ?? null;
  }

  async used(digest: string, at: string): Promise<void> {
    await this.#db.updateTable('delivery_access').set({ used_at: at }).where('digest', '=', digest).execute();
  }

  async list(device?: string): Promise<DeliveryAccess[]> {
    let query = this.#db.selectFrom('delivery_access').selectAll().orderBy('device').orderBy('added_at');
    if (device !== undefined) query = query.where('device', '=', device);
    return (await query.execute()).map(access);
  }

  /** Throws `store/unknown-access`. */
  async revoke(id: string): Promise<DeliveryAccess> {
    const row = await this.#db
      .deleteFrom('delivery_access')
      .where('id', '=', id)
      .returningAll()
      .executeTakeFirst();
    if (row === undefined)
      throw new TuckpointError('store/unknown-access', `No token or key has the id "${id}".`, {
        advice: '"tuckpoint delivery list" shows them.',
      });
    return access(row);
  }

  async expect(device: string, expectation: Expectation): Promise<void> {
    const { rule, zone, start, graceSeconds, setAt } = expectation;
    const values = { rule, zone, start, grace_seconds: graceSeconds, set_at: setAt };
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
    const rows = await this.#db.selectFrom('expectation').selectAll().orderBy('device').execute();
    return new Map(
      rows.map(({ device, rule, zone, start, grace_seconds, set_at }) => [
        device,
        { rule, zone, start, graceSeconds: grace_seconds, setAt: set_at },
      ]),
    );
  }
}

function access(row: Selectable<Schema['delivery_access']>): DeliveryAccess {
  const { id, device, kind, added_at, used_at } = row;
  return { id, device, kind: kind as DeliveryAccess['kind'], addedAt: added_at, usedAt: used_at };
}
