import type { Kysely, Selectable } from 'kysely';
import { TuckpointError } from '#core/errors';
import { fromJson, toJson } from './json.ts';
import type { Schema } from './schema.ts';
import type { Sealer } from './sealer.ts';

/** What is needed to enter a device; sealed before it reaches the disk. */
export type Secrets = Readonly<Record<string, string>>;

export interface NewDevice {
  readonly name: string;
  readonly site: string;
  /** Path of a handbook file, or the name of one that ships with Tuckpoint; empty: the device is never reached. */
  readonly handbook: string;
  readonly address: string;
  readonly port: number;
  readonly user: string;
  /** Values of this device's own that its handbook names as `{own.NAME}`. */
  readonly own: Readonly<Record<string, string>>;
  readonly secrets: Secrets;
}

export interface DeviceRecord extends Omit<NewDevice, 'secrets'> {
  /** Fingerprint of the host key pinned on first use. */
  readonly hostKey: string | null;
  readonly addedAt: string;
}

/** A device that is never reached: what is known of it is what it delivers. */
export function onlyDelivers(device: Pick<DeviceRecord, 'handbook'>): boolean {
  return device.handbook === '';
}

export class Devices {
  readonly #db: Kysely<Schema>;
  readonly #sealer: Sealer;

  constructor(db: Kysely<Schema>, sealer: Sealer) {
    this.#db = db;
    this.#sealer = sealer;
  }

  /** Adds a device, or changes the one of that name (its pinned host key stays unless the address changed). */
  async put(device: NewDevice, at: string): Promise<void> {
    const { secrets, own, ...rest } = device;
    const plain = { ...rest, own: toJson(own) };
    const sealed =
      Object.keys(secrets).length === 0
        ? null
        : await this.#sealer.seal(new TextEncoder().encode(toJson(secrets)));
    const known = await this.find(device.name);
    const host_key =
      known !== null && known.address === device.address && known.port === device.port ? known.hostKey : null;
    await this.#db
      .insertInto('device')
      .values({ ...plain, secrets: sealed, host_key, added_at: known?.addedAt ?? at })
      .onConflict((c) => c.column('name').doUpdateSet({ ...plain, secrets: sealed, host_key }))
      .execute();
  }

  async find(name: string): Promise<DeviceRecord | null> {
    const row = await this.#db.selectFrom('device').selectAll().where('name', '=', name).executeTakeFirst();
    return row === undefined ? null : record(row);
  }

  /** Throws `store/unknown-device`, naming near ones. */
  async get(name: string): Promise<DeviceRecord> {
    const found = await this.find(name);
    if (found !== null) return found;
    const names = (await this.list()).map((d) => d.name);
    throw new TuckpointError('store/unknown-device', `No device is called "${name}".`, {
      place: { field: 'device' },
      advice:
        names.length === 0
          ? 'No device is known yet: add one with "tuckpoint device add".'
          : `Known devices: ${names.slice(0, 12).join(', ')}${names.length > 12 ? ', …' : ''}.`,
    });
  }

  async list(): Promise<DeviceRecord[]> {
    const rows = await this.#db.selectFrom('device').selectAll().orderBy('site').orderBy('name').execute();
    return rows.map(record);
  }

  /** Throws what the sealer throws when the key is not the one the secrets were sealed with. */
  async secrets(name: string): Promise<Secrets> {
    const row = await this.#db
      .selectFrom('device')
      .select('secrets')
      .where('name', '=', name)
      .executeTakeFirst();
    if (row === undefined || row.secrets === null) return {};
    const bytes = await this.#sealer.open(new Uint8Array(row.secrets));
    return fromJson<Secrets>(new TextDecoder().decode(bytes));
  }

  async pinHostKey(name: string, fingerprint: string | null): Promise<void> {
    await this.#db.updateTable('device').set({ host_key: fingerprint }).where('name', '=', name).execute();
  }

  async remove(name: string): Promise<void> {
    await this.get(name);
    await this.#db.deleteFrom('device').where('name', '=', name).execute();
  }
}

function record(row: Selectable<Schema['device']>): DeviceRecord {
  const { name, site, handbook, address, port, user } = row;
  const own = fromJson<Record<string, string>>(row.own);
  return { name, site, handbook, address, port, user, own, hostKey: row.host_key, addedAt: row.added_at };
}
