import { linkError } from '../errors.ts';

/** Ends work that moves nothing for a while: a transfer may be slow, but not still. */
export class StallWatch {
  readonly #seconds: number;
  readonly #what: string;
  readonly #stop: () => void;
  #timer: NodeJS.Timeout | undefined;
  #fail: (error: Error) => void = () => undefined;

  constructor(seconds: number, what: string, stop: () => void) {
    this.#seconds = seconds;
    this.#what = what;
    this.#stop = stop;
  }

  /** Something moved. */
  moved(): void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      this.#fail(linkError('links/timeout', `${this.#what}: nothing moved for ${this.#seconds} s.`));
      this.#stop();
    }, this.#seconds * 1000);
  }

  /** Waits for the work; throws `links/timeout` when it stands still. */
  async over<T>(work: Promise<T>): Promise<T> {
    const still = new Promise<never>((_, reject) => {
      this.#fail = reject;
    });
    this.moved();
    try {
      return await Promise.race([work, still]);
    } finally {
      clearTimeout(this.#timer);
      work.catch(() => undefined);
    }
  }
}
