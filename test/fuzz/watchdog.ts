import { Worker } from 'node:worker_threads';

/** Room for the text that is being tried, in UTF-8. */
const ROOM = 1 << 18;

/**
 * Ends the process, and prints the text, when one text takes too long: a reader that hangs cannot say so itself.
 * It looks from a thread of its own.
 */
export class Watchdog {
  /** How many texts were begun, and the present one's bytes. */
  readonly #state = new Int32Array(new SharedArrayBuffer(8));
  readonly #text = new Uint8Array(new SharedArrayBuffer(ROOM));
  readonly #encoder = new TextEncoder();

  /** @param seconds by the clock: so many that other load on the machine does not matter */
  constructor(seconds: number) {
    const workerData = { state: this.#state, text: this.#text, seconds };
    new Worker(new URL('./watchdog-worker.js', import.meta.url), { workerData }).unref();
  }

  begin(text: string): void {
    this.#state[1] = this.#encoder.encodeInto(text, this.#text).written;
    Atomics.add(this.#state, 0, 1);
  }
}
