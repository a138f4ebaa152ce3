import type { Kysely } from 'kysely';
import type { Schema } from './schema.ts';
import type { Sealer } from './sealer.ts';

/** Secrets of the workbench's own service, sealed, such as the host key of its SFTP drop. */
export class ServiceSecrets {
  readonly #db: Kysely<Schema>;
  readonly #sealer: Sealer;

  constructor(db: Kysely<Schema>, sealer: Sealer) {
    this.#db = db;
    this.#sealer = sealer;
  }

  /** The secret of this name; `make` makes it the first time. Of two processes that make it, one's stays. */
  async get(name: string, make: () => string): Promise<string> {
    const known = await this.#find(name);
    if (known !== null) return known;
    const sealed = await this.#sealer.seal(new TextEncoder().encode(make()));
    await this.#db
      .insertInto('service_secret')
      .values({ name, sealed })
      .onConflict((c) => c.column('name').doNothing())
      .execute();
    return (await this.#find(name))!;
  }

  async #find(name: string): Promise<string | null> {
    const row = await this.#db
      .selectFrom('service_secret')
      .select('sealed')
      .where('name', '=', name)
      .executeTakeFirst();
    if (row === undefined) return null;
    return new TextDecoder().decode(await this.#sealer.open(new Uint8Array(row.sealed)));
  }
}
