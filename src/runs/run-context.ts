import { TuckpointError } from '#core/errors';
import { mayPass } from '#links';
import type { BootChoice, DeviceFacts, Link, NamedFile } from '#links/port';
import type { DeviceRecord } from '#store';
import type { RunEnvironment } from './environment.ts';
import type { Facts, Goal } from './facts.ts';
import { type Reading, readingIn } from './languages.ts';

/** How long to wait between two tries to reach a device that is booting, in milliseconds. */
const KNOCK_MS = 500;

/** What the steps of one run share: the device, its link (opened at need), and all facts so far. */
export class RunContext {
  readonly environment: RunEnvironment;
  readonly device: DeviceRecord;
  readonly id: string;
  readonly goal: Goal;
  facts: Facts = {};
  /** Reports bytes moved by the step at work. */
  progress: (done: number, total: number) => void = () => {};
  #link: Link | null = null;
  #reading: Reading | null = null;

  constructor(environment: RunEnvironment, device: DeviceRecord, id: string, goal: Goal) {
    this.environment = environment;
    this.device = device;
    this.id = id;
    this.goal = goal;
  }

  /** The open link. Throws the link's errors. */
  async link(): Promise<Link> {
    if (this.#link === null) {
      // The pinned host key may have been written by an earlier connection of this run.
      const device = (await this.environment.store.devices.find(this.device.name)) ?? this.device;
      this.#link = await this.environment.connect(device);
    }
    return this.#link;
  }

  /** How the run reads every configuration. Throws what `readingIn` throws. */
  get reading(): Reading {
    this.#reading ??= readingIn(this.goal.languages);
    return this.#reading;
  }

  /** What the handbook says of the device; known without reaching it. */
  deviceFacts(): Promise<DeviceFacts> {
    return this.environment.deviceFacts(this.device);
  }

  /** Closes the link; the next use opens a new one. Never throws. */
  async dropLink(): Promise<void> {
    const link = this.#link;
    this.#link = null;
    await link?.close().catch(() => {});
  }

  /**
   * Waits until the device answers and `ready` holds of it, for at most `seconds`.
   * Throws `runs/did-not-return` with what was seen last; permanent link errors at once.
   */
  async waitFor(seconds: number, what: string, ready: (link: Link) => Promise<boolean>): Promise<void> {
    const { environment } = this;
    const until = environment.nowMs() + seconds * 1000;
    let last: unknown;
    do {
      try {
        if (await ready(await this.link())) return;
      } catch (error) {
        await this.dropLink();
        if (!mayPass(error)) throw error;
        last = error;
      }
      await environment.sleep(KNOCK_MS);
    } while (environment.nowMs() < until);
    throw new TuckpointError(
      'runs/did-not-return',
      `${this.device.name} ${what} within ${seconds} seconds.`,
      {
        cause: last,
        advice: `When it answers again, or was power-cycled, go on with "tuckpoint resume ${this.id}".`,
      },
    );
  }

  async capture(slot: BootChoice): Promise<readonly NamedFile[]> {
    return await (await this.link()).capture(slot);
  }
}
