import { type Kysely, type Migration, Migrator } from 'kysely';
import { TuckpointError } from '#core/errors';
import type { Schema } from './schema.ts';

/** Every change of the schema, by name in order; one that has landed is never edited. */
const migrations: Record<string, Migration> = {
  '001-devices-and-runs': {
    async up(db: Kysely<unknown>) {
      await db.schema
        .createTable('device')
        .addColumn('name', 'text', (c) => c.primaryKey())
        .addColumn('site', 'text', (c) => c.notNull())
        .addColumn('handbook', 'text', (c) => c.notNull())
        .addColumn('address', 'text', (c) => c.notNull())
        .addColumn('port', 'integer', (c) => c.notNull())
        .addColumn('user', 'text', (c) => c.notNull())
        .addColumn('own', 'text', (c) => c.notNull())
        .addColumn('host_key', 'text')
        .addColumn('secrets', 'blob')
        .addColumn('added_at', 'text', (c) => c.notNull())
        .execute();
      await db.schema
        .createTable('run')
        .addColumn('id', 'text', (c) => c.primaryKey())
        .addColumn('device', 'text', (c) => c.notNull())
        .addColumn('procedure', 'text', (c) => c.notNull())
        .addColumn('goal', 'text', (c) => c.notNull())
        .addColumn('state', 'text', (c) => c.notNull())
        .addColumn('decision', 'text')
        .addColumn('reason', 'text')
        .addColumn('facts', 'text', (c) => c.notNull())
        .addColumn('report', 'text')
        .addColumn('started_at', 'text', (c) => c.notNull())
        .addColumn('ended_at', 'text')
        .execute();
      await db.schema.createIndex('run_by_device').on('run').columns(['device', 'started_at']).execute();
      await db.schema
        .createTable('journal')
        .addColumn('seq', 'integer', (c) => c.primaryKey().autoIncrement())
        .addColumn('run', 'text', (c) => c.notNull().references('run.id'))
        .addColumn('step', 'text', (c) => c.notNull())
        .addColumn('state', 'text', (c) => c.notNull())
        .addColumn('at', 'text', (c) => c.notNull())
        .addColumn('detail', 'text', (c) => c.notNull())
        .execute();
      await db.schema.createIndex('journal_by_run').on('journal').columns(['run', 'seq']).execute();
      await db.schema
        .createTable('lease')
        .addColumn('device', 'text', (c) => c.primaryKey())
        .addColumn('run', 'text', (c) => c.notNull())
        .addColumn('holder', 'text', (c) => c.notNull())
        .addColumn('fence', 'integer', (c) => c.notNull())
        .addColumn('expires_at', 'integer', (c) => c.notNull())
        .execute();
      await db.schema
        .createTable('reading')
        .addColumn('seq', 'integer', (c) => c.primaryKey().autoIncrement())
        .addColumn('device', 'text', (c) => c.notNull())
        .addColumn('run', 'text')
        .addColumn('at', 'text', (c) => c.notNull())
        .addColumn('reading', 'text', (c) => c.notNull())
        .execute();
      await db.schema
        .createTable('sighting')
        .addColumn('device', 'text', (c) => c.primaryKey())
        .addColumn('at', 'text', (c) => c.notNull())
        .addColumn('sighting', 'text', (c) => c.notNull())
        .execute();
      await db.schema
        .createTable('booted_pair')
        .addColumn('device', 'text', (c) => c.notNull())
        .addColumn('release', 'text', (c) => c.notNull())
        .addColumn('configuration', 'text', (c) => c.notNull())
        .addColumn('at', 'text', (c) => c.notNull())
        .addColumn('run', 'text')
        .addPrimaryKeyConstraint('booted_pair_key', ['device', 'release', 'configuration'])
        .execute();
    },
  },
  '002-deliveries-and-schedules': {
    async up(db: Kysely<unknown>) {
      await db.schema
        .createTable('delivery_access')
        .addColumn('id', 'text', (c) => c.primaryKey())
        .addColumn('device', 'text', (c) => c.notNull().references('device.name').onDelete('cascade'))
        .addColumn('kind', 'text', (c) => c.notNull())
        .addColumn('digest', 'text', (c) => c.notNull().unique())
        .addColumn('added_at', 'text', (c) => c.notNull())
        .addColumn('used_at', 'text')
        .execute();
      await db.schema
        .createTable('expectation')
        .addColumn('device', 'text', (c) => c.primaryKey().references('device.name').onDelete('cascade'))
        .addColumn('rule', 'text', (c) => c.notNull())
        .addColumn('zone', 'text', (c) => c.notNull())
        .addColumn('start', 'text', (c) => c.notNull())
        .addColumn('grace_seconds', 'integer', (c) => c.notNull())
        .addColumn('set_at', 'text', (c) => c.notNull())
        .execute();
      await db.schema
        .createTable('schedule')
        .addColumn('name', 'text', (c) => c.primaryKey())
        .addColumn('rule', 'text', (c) => c.notNull())
        .addColumn('zone', 'text', (c) => c.notNull())
        .addColumn('start', 'text', (c) => c.notNull())
        .addColumn('set_at', 'text', (c) => c.notNull())
        .addColumn('done_at', 'text')
        .execute();
      await db.schema
        .createTable('service_secret')
        .addColumn('name', 'text', (c) => c.primaryKey())
        .addColumn('sealed', 'blob', (c) => c.notNull())
        .execute();
    },
  },
  '003-planned-files': {
    async up(db: Kysely<unknown>) {
      await db.schema
        .createTable('planned_files')
        .addColumn('run', 'text', (c) => c.primaryKey().references('run.id'))
        .addColumn('files', 'blob', (c) => c.notNull())
        .execute();
    },
  },
};

/** Brings the database to the newest schema. Throws `store/migration-failed`; the data is then as before. */
export async function migrate(db: Kysely<Schema>): Promise<void> {
  const migrator = new Migrator({ db, provider: { getMigrations: async () => migrations } });
  const { error } = await migrator.migrateToLatest();
  if (error !== undefined) {
    throw new TuckpointError(
      'store/migration-failed',
      'The database could not be brought to the newest schema.',
      {
        cause: error,
        advice:
          'Nothing was changed. A database written by a newer Tuckpoint needs that version or a later one.',
      },
    );
  }
}
