import type { Socket } from 'node:net';

/** Connections at once, in all and from one address. */
const MOST = 32;
const MOST_OF_ONE = 8;
/** How long a caller may take to sign in, in milliseconds. */
const SIGN_IN = 30_000;

/** Who is connected. A caller that says nothing, or stays too long, is cut off: a line that hangs holds no place. */
export class Callers {
  readonly #open = new Map<string, { socket: Socket; timer: NodeJS.Timeout }>();

  /** Is there room for it? */
  take(socket: Socket): boolean {
    const { remoteAddress = '', remotePort = 0 } = socket;
    const ofOne = [...this.#open.values()].filter((one) => one.socket.remoteAddress === remoteAddress);
    if (this.#open.size >= MOST || ofOne.length >= MOST_OF_ONE) return false;
    const name = `${remoteAddress} ${remotePort}`;
    const timer = setTimeout(() => socket.destroy(), SIGN_IN);
    this.#open.set(name, { socket, timer });
    socket.once('close', () => {
      clearTimeout(this.#open.get(name)?.timer);
      this.#open.delete(name);
    });
    return true;
  }

  /** It has signed in, and may stay so many milliseconds. */
  allow(caller: { readonly ip: string; readonly port: number }, ms: number): void {
    const known = this.#open.get(`${caller.ip} ${caller.port}`);
    if (known === undefined) return;
    clearTimeout(known.timer);
    known.timer = setTimeout(() => known.socket.destroy(), ms);
  }

  /** Ends every connection; one that has not ended after `graceMs` is cut off. */
  async leave(graceMs: number): Promise<void> {
    const cut = [...this.#open.values()].map(
      ({ socket }) =>
        new Promise<void>((done) => {
          const timer = setTimeout(() => socket.destroy(), graceMs);
          socket.once('close', () => {
            clearTimeout(timer);
            done();
          });
          socket.end();
        }),
    );
    await Promise.all(cut);
  }
}
