import { mkdirSync } from 'node:fs';
import path from 'node:path';
import { Kysely, SqliteAdapter, type SqliteDatabase, SqliteDialect, type SqliteStatement } from 'kysely';
import Database from 'libsql';
import { TuckpointError } from '#core/errors';
import { migrate } from './migrations.ts';
import type { Schema } from './schema.ts';

/** How long a process waits for another one's write before it gives up, in milliseconds. */
const BUSY_WAIT = 10_000;

/** Opens (and creates) the embedded database `tuckpoint.db` in the data folder, at the newest schema. */
export async function openDatabase(folder: string): Promise<Kysely<Schema>> {
  const file = path.join(folder, 'tuckpoint.db');
  let raw: Database.Database;
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    raw = new Database(file, { timeout: BUSY_WAIT });
    raw.pragma('journal_mode = WAL');
    // An acknowledged journal line must survive a power cut, not only a crash of the process.
    raw.pragma('synchronous = FULL');
    raw.pragma('foreign_keys = ON');
  } catch (cause) {
    throw new TuckpointError('store/cannot-open', 'The data folder cannot be opened or written.', {
      place: { file },
      cause,
      advice: 'Choose another with --data, or mend its permissions.',
    });
  }
  const db = new Kysely<Schema>({ dialect: new EmbeddedDialect({ database: adapt(raw) }) });
  await migrate(db);
  return db;
}

/**
 * SQLite changes a schema inside a transaction (SQLite, "Transactions"), but the query builder does not count on it.
 * Told so, it looks and migrates in one transaction: two processes never migrate at once, and a kill leaves no half.
 */
class EmbeddedAdapter extends SqliteAdapter {
  override get supportsTransactionalDdl(): boolean {
    return true;
  }
}

class EmbeddedDialect extends SqliteDialect {
  override createAdapter(): SqliteAdapter {
    return new EmbeddedAdapter();
  }
}

function adapt(raw: Database.Database): SqliteDatabase {
  return {
    close: () => raw.close(),
    prepare(sql: string): SqliteStatement {
      // A transaction that first reads and then writes would fail at once when another process writes in between.
      const statement = raw.prepare(sql === 'begin' ? 'begin immediate' : sql);
      return {
        reader: statement.reader,
        all: (values) => statement.all(bound(values)),
        run: (values) => statement.run(bound(values)),
        iterate: (values) => statement.iterate(bound(values)) as IterableIterator<unknown>,
      };
    },
  };
}

/** The embedded driver aborts the process on a raw boolean, and takes bytes only as Buffer. */
function bound(values: readonly unknown[]): unknown[] {
  return values.map((value) => {
    if (typeof value === 'boolean') return value ? 1 : 0;
    if (value instanceof Uint8Array) return Buffer.from(value);
    return value;
  });
}
