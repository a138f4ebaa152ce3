import { insideOf, tidy } from '#archive';
import { codeOf } from '#core/errors';
import {
  goRound,
  lateDeliveries,
  ROUND,
  type RunEnvironment,
  resumeRun,
  roundDevices,
  roundDue,
} from '#runs';
import type { NewServiceEvent } from './events.ts';

/** How often it is looked whether something is due or late, at most, in milliseconds. */
const LOOK_MS = 30_000;
/** How long a round that failed as a whole is left alone, in milliseconds. */
const REST_MS = 5 * 60_000;
/** So many deliveries without a round between, and the archive is put in order. */
const UNTIDY = 64;

/** Keeps time: begins rounds when they are due, and tells when a delivery is late. */
export class Timekeeper {
  readonly #environment: RunEnvironment;
  readonly #tell: (event: NewServiceEvent) => void;
  /** Late deliveries that were told: device -> when it should have come. */
  readonly #told = new Map<string, string>();
  #delivered = 0;
  #timer: NodeJS.Timeout | undefined;
  #working: Promise<void> = Promise.resolve();
  #stopping = false;

  constructor(environment: RunEnvironment, tell: (event: NewServiceEvent) => void) {
    this.#environment = environment;
    this.#tell = tell;
  }

  start(): void {
    this.#working = this.#resumeRounds()
      .catch((error: unknown) => this.#fault(error))
      .then(() => this.#look());
  }

  /** Begins no further device, and resolves when the one under way has ended. A round cut short is due again. */
  async stop(): Promise<void> {
    this.#stopping = true;
    clearTimeout(this.#timer);
    await this.#working;
  }

  delivered(): void {
    this.#delivered += 1;
  }

  /** Goes on with rounds on devices that a kill left unfinished. They only look, so nobody need be asked. */
  async #resumeRounds(): Promise<void> {
    for (const run of await this.#environment.store.journal.unfinished())
      if (run.procedure === 'round' && run.state === 'open' && !this.#stopping)
        await resumeRun(this.#environment, run.id, () => undefined).catch((error: unknown) => {
          // Another process is at work on it: then nothing was interrupted.
          if (codeOf(error) !== 'store/device-busy') this.#fault(error);
        });
  }

  async #look(): Promise<void> {
    let wait = LOOK_MS;
    try {
      const next = await this.#roundIfDue();
      if (next !== null) {
        const ms = Date.parse(next) - Date.parse(this.#environment.now());
        wait = Math.min(LOOK_MS, Math.max(0, ms));
      }
      await this.#tellLate();
      if (this.#delivered >= UNTIDY && !this.#stopping) {
        this.#delivered = 0;
        await tidy(insideOf(this.#environment.archive));
      }
    } catch (error) {
      this.#fault(error);
      wait = REST_MS;
    }
    if (this.#stopping) return;
    this.#timer = setTimeout(() => {
      this.#working = this.#look();
    }, wait);
  }

  /** The answer is when the next round is due; null: none is. */
  async #roundIfDue(): Promise<string | null> {
    const environment = this.#environment;
    const now = await roundDue(environment);
    if (now?.due == null || this.#stopping) return now?.next ?? null;
    this.#tell({ kind: 'round-begun', due: now.due });
    const names = await roundDevices(environment);
    const { devices, concerns, cut } = await goRound(
      environment,
      names,
      () => undefined,
      () => !this.#stopping,
    );
    if (!cut) await environment.store.schedules.done(ROUND, now.due);
    this.#delivered = 0;
    const next = (await roundDue(environment))?.next ?? null;
    const done = devices.filter(({ decision }) => decision === 'done').length;
    const told = { due: now.due, done, of: names.length, concerns: concerns.length, cut, next };
    this.#tell({ kind: 'round-ended', ...told });
    return next;
  }

  async #tellLate(): Promise<void> {
    const late = await lateDeliveries(this.#environment);
    for (const { device, since, reason } of late)
      if (this.#told.get(device) !== since) this.#tell({ kind: 'late', device, reason });
    this.#told.clear();
    for (const { device, since } of late) this.#told.set(device, since);
  }

  #fault(error: unknown): void {
    this.#tell({ kind: 'fault', reason: error instanceof Error ? error.message : String(error) });
  }
}
