import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import Database from 'libsql';
import { archiveError } from './errors.ts';

/** How long to wait for another writer before giving up, in milliseconds. */
const PATIENCE = 120_000;

/**
 * Nothing is ever written to the database, so there is nothing to undo: no file beside it, made and removed at each turn.
 * Setting that reads the file, and so is done where another holder is waited for.
 */
const TAKE = 'PRAGMA journal_mode = memory; BEGIN EXCLUSIVE';

/**
 * One writer at a time, across processes. The lock is an exclusive transaction on an empty SQLite database, which
 * is a lock of the operating system on that file: it ends with the process that holds it, however that dies.
 */
export class WriterLock {
  readonly #database: InstanceType<typeof Database>;
  readonly #file: string;
  #last: Promise<unknown> = Promise.resolve();

  constructor(folder: string) {
    this.#file = path.join(folder, 'lock');
    this.#database = new Database(this.#file);
    this.#database.pragma('busy_timeout = 0');
  }

  /** Throws `archive/busy`, `archive/write-failed`. */
  async #take(): Promise<void> {
    const until = performance.now() + PATIENCE;
    for (let wait = 1; ; wait = Math.min(wait * 2, 50)) {
      try {
        this.#database.exec(TAKE);
        return;
      } catch (cause) {
        if ((cause as { code?: string }).code !== 'SQLITE_BUSY')
          throw archiveError('archive/write-failed', 'The lock of the archive cannot be taken.', {
            file: this.#file,
            advice:
              'Make room on the disk, and check that the folder may be written; nothing stored is touched.',
            cause,
          });
        if (performance.now() > until)
          throw archiveError(
            'archive/busy',
            'Another process has been writing to the archive for too long.',
            {
              file: this.#file,
              advice: 'Wait for it to end, or end it; its lock ends with it.',
              cause,
            },
          );
      }
      await sleep(wait);
    }
  }

  /** Runs `work` alone. Calls queue up in order within this process. */
  async alone<T>(work: () => Promise<T>): Promise<T> {
    const turn = this.#last.then(async () => {
      await this.#take();
      try {
        return await work();
      } finally {
        // There is nothing to commit, and a full disk must not keep the lock.
        this.#database.exec('ROLLBACK');
      }
    });
    this.#last = turn.catch(() => undefined);
    return turn;
  }

  async close(): Promise<void> {
    await this.#last;
    this.#database.close();
  }
}
