import type { Kysely, Selectable } from 'kysely';
import { TuckpointError } from '#core/errors';
import { fromJson, toJson } from './json.ts';
import { assertHeld, type Lease } from './leases.ts';
import { openFiles, type PlannedFile, sealFiles } from './planned-files.ts';
import type { Schema } from './schema.ts';
import type { Sealer } from './sealer.ts';

/** `open`: at work or interrupted. `stopped`: waits for a person. `ended`: decided and recorded. */
export type RunState = 'open' | 'stopped' | 'ended';
/** Written before (`started`) and after (`done`, `failed`) each step; `note` is for the reader. */
export type StepState = 'started' | 'done' | 'failed' | 'note';

export interface RunRecord {
  readonly id: string;
  readonly device: string;
  readonly procedure: string;
  readonly goal: unknown;
  readonly state: RunState;
  readonly decision: string | null;
  readonly reason: string | null;
  /** What the steps learned, by name; enough to go on after a kill. */
  readonly facts: Readonly<Record<string, unknown>>;
  readonly report: unknown;
  readonly startedAt: string;
  readonly endedAt: string | null;
}

export interface JournalEntry {
  readonly seq: number;
  readonly step: string;
  readonly state: StepState;
  readonly at: string;
  readonly detail: Readonly<Record<string, unknown>>;
}

export interface Ending {
  readonly state: 'stopped' | 'ended';
  readonly decision: string;
  readonly reason: string;
  readonly report: unknown;
  readonly at: string;
}

export class Journal {
  readonly #db: Kysely<Schema>;
  readonly #sealer: Sealer;

  constructor(db: Kysely<Schema>, sealer: Sealer) {
    this.#db = db;
    this.#sealer = sealer;
  }

  /** `planned`: files that the run is to bring onto the device; kept sealed until it ends, so that it can be resumed. */
  async begin(
    run: Pick<RunRecord, 'id' | 'device' | 'procedure' | 'goal' | 'startedAt'>,
    lease: Lease,
    planned?: readonly PlannedFile[],
  ) {
    const files = planned === undefined ? null : await sealFiles(this.#sealer, planned);
    await this.#db.transaction().execute(async (tx) => {
      await assertHeld(tx, lease);
      await tx
        .insertInto('run')
        .values({
          id: run.id,
          device: run.device,
          procedure: run.procedure,
          goal: toJson(run.goal),
          state: 'open',
          facts: '{}',
          started_at: run.startedAt,
          ended_at: null,
          decision: null,
          reason: null,
          report: null,
        })
        .execute();
      if (files !== null) await tx.insertInto('planned_files').values({ run: run.id, files }).execute();
    });
  }

  /** The files a run was begun with; null when it had none, or has ended. Throws what the sealer throws. */
  async plannedFiles(run: string): Promise<readonly PlannedFile[] | null> {
    const row = await this.#db
      .selectFrom('planned_files')
      .select('files')
      .where('run', '=', run)
      .executeTakeFirst();
    return row === undefined ? null : await openFiles(this.#sealer, row.files);
  }

  /** Appends a line and merges `facts` into the run's, in one transaction. Throws `store/lease-lost`. */
  async write(
    lease: Lease,
    line: Omit<JournalEntry, 'seq'>,
    facts: Readonly<Record<string, unknown>> = {},
  ): Promise<void> {
    await this.#db.transaction().execute(async (tx) => {
      await assertHeld(tx, lease);
      await tx
        .insertInto('journal')
        .values({
          run: lease.run,
          step: line.step,
          state: line.state,
          at: line.at,
          detail: toJson(line.detail),
        })
        .execute();
      if (Object.keys(facts).length === 0) return;
      const row = await tx
        .selectFrom('run')
        .select('facts')
        .where('id', '=', lease.run)
        .executeTakeFirstOrThrow();
      await tx
        .updateTable('run')
        .set({ facts: toJson({ ...fromJson<object>(row.facts), ...facts }) })
        .where('id', '=', lease.run)
        .execute();
    });
  }

  async end(lease: Lease, ending: Ending): Promise<void> {
    await this.#db.transaction().execute(async (tx) => {
      await assertHeld(tx, lease);
      await tx
        .updateTable('run')
        .set({
          state: ending.state,
          decision: ending.decision,
          reason: ending.reason,
          report: toJson(ending.report),
          ended_at: ending.at,
        })
        .where('id', '=', lease.run)
        .execute();
      if (ending.state === 'ended')
        await tx.deleteFrom('planned_files').where('run', '=', lease.run).execute();
    });
  }

  /** A stopped run is taken up again. */
  async reopen(lease: Lease): Promise<void> {
    await this.#db.transaction().execute(async (tx) => {
      await assertHeld(tx, lease);
      await tx
        .updateTable('run')
        .set({ state: 'open', decision: null, reason: null, ended_at: null })
        .where('id', '=', lease.run)
        .execute();
    });
  }

  /** Throws `store/unknown-run`. */
  async get(id: string): Promise<RunRecord> {
    const row = await this.#db.selectFrom('run').selectAll().where('id', '=', id).executeTakeFirst();
    if (row === undefined) {
      throw new TuckpointError('store/unknown-run', `No run has the id "${id}".`, {
        advice: '"tuckpoint runs" lists them.',
      });
    }
    return record(row);
  }

  /** Newest first: ids are in the order of time, the times of their beginnings in the zones of their users. */
  async list(device?: string): Promise<RunRecord[]> {
    let query = this.#db.selectFrom('run').selectAll().orderBy('id', 'desc');
    if (device !== undefined) query = query.where('device', '=', device);
    return (await query.execute()).map(record);
  }

  /** Runs that a kill or a stop left unfinished, oldest first. */
  async unfinished(): Promise<RunRecord[]> {
    const rows = await this.#db
      .selectFrom('run')
      .selectAll()
      .where('state', '!=', 'ended')
      .orderBy('id')
      .execute();
    return rows.map(record);
  }

  async entries(run: string): Promise<JournalEntry[]> {
    const rows = await this.#db
      .selectFrom('journal')
      .selectAll()
      .where('run', '=', run)
      .orderBy('seq')
      .execute();
    return rows.map((row) => ({
      seq: row.seq,
      step: row.step,
      state: row.state as StepState,
      at: row.at,
      detail: fromJson(row.detail),
    }));
  }
}

function record(row: Selectable<Schema['run']>): RunRecord {
  return {
    id: row.id,
    device: row.device,
    procedure: row.procedure,
    goal: fromJson(row.goal),
    state: row.state as RunState,
    decision: row.decision,
    reason: row.reason,
    facts: fromJson(row.facts),
    report: row.report === null ? null : fromJson(row.report),
    startedAt: row.started_at,
    endedAt: row.ended_at,
  };
}
