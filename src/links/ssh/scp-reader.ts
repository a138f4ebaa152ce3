import type { ClientChannel } from 'ssh2';

/** Reads what the far end of an scp says: bytes, lines, acknowledgements. An error of the far end is thrown as its words. */
export class ScpReader {
  readonly #chunks: AsyncIterator<Buffer>;
  readonly #moved: () => void;
  #buffer: Buffer = Buffer.alloc(0);
  #errors = '';
  #next: Promise<IteratorResult<Buffer>> | undefined;

  constructor(channel: ClientChannel, moved: () => void) {
    this.#chunks = channel[Symbol.asyncIterator]() as AsyncIterator<Buffer>;
    this.#moved = moved;
    channel.stderr.on('data', (chunk: Buffer) => {
      this.#errors = (this.#errors + chunk.toString('utf8')).slice(-500);
    });
  }

  /** Waits for the zero byte. Throws the far end's words. */
  async acknowledged(): Promise<void> {
    const byte = (await this.#take(1))[0];
    if (byte === 0) return;
    throw new Error(await this.#complaint(byte === 1 || byte === 2 ? '' : String.fromCharCode(byte ?? 63)));
  }

  /** A line, or null where the far end is done. */
  async line(): Promise<string | null> {
    while (!this.#buffer.includes(10)) if (!(await this.#more())) return this.#ended();
    const end = this.#buffer.indexOf(10);
    const line = this.#buffer.subarray(0, end).toString('utf8');
    this.#buffer = this.#buffer.subarray(end + 1);
    if (line.startsWith('\u0001') || line.startsWith('\u0002')) throw new Error(tidy(line.slice(1)));
    return line;
  }

  async bytes(count: number): Promise<Uint8Array> {
    return new Uint8Array(await this.#take(count));
  }

  /** Waits for a write; a complaint of the far end that comes meanwhile is thrown at once. */
  async alongside(write: Promise<void>): Promise<void> {
    this.#next ??= this.#chunks.next();
    const complained = this.#next.then(() => 'complaint' as const);
    // Nobody may wait for it any more when it fails.
    complained.catch(() => undefined);
    if ((await Promise.race([write.then(() => 'written' as const), complained])) === 'written') return;
    write.catch(() => undefined);
    if (!(await this.#more())) throw new Error(this.#lastWords());
    if (this.#buffer[0] !== 0) throw new Error(await this.#complaint(''));
  }

  async #complaint(first: string): Promise<string> {
    const line = await this.line().catch((error: Error) => error.message);
    return tidy(first + (line ?? '')) || this.#lastWords();
  }

  #ended(): null {
    if (this.#errors.trim() !== '') throw new Error(this.#lastWords());
    return null;
  }

  #lastWords(): string {
    return tidy(this.#errors) || 'it ended without a word.';
  }

  async #take(count: number): Promise<Buffer> {
    const parts: Buffer[] = [];
    let missing = count;
    while (missing > 0) {
      if (this.#buffer.length === 0 && !(await this.#more())) throw new Error(this.#lastWords());
      const part = this.#buffer.subarray(0, missing);
      this.#buffer = this.#buffer.subarray(part.length);
      missing -= part.length;
      parts.push(part);
    }
    return Buffer.concat(parts);
  }

  async #more(): Promise<boolean> {
    this.#next ??= this.#chunks.next();
    const { done, value } = await this.#next;
    this.#next = undefined;
    if (done === true) return false;
    this.#moved();
    this.#buffer = this.#buffer.length === 0 ? value : Buffer.concat([this.#buffer, value]);
    return true;
  }
}

function tidy(text: string): string {
  return text.replace(/^\s*scp: /u, '').trim();
}
