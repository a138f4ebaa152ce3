import type { ClientChannel } from 'ssh2';
import { linkError } from '../errors.ts';
import type { Mode, Pattern, ShellSession as ShellBook } from '../handbook/index.ts';
import type { Command, Output, Reply, Session } from '../session/index.ts';
import type { SshConnection } from './connection.ts';
import { MAX_OUTPUT_BYTES } from './exec-session.ts';
import { refusalIn } from './refusal.ts';
import { Terminal } from './terminal.ts';
import { within } from './time-limit.ts';

/** Wide enough that no command wraps; tall so that pagers come seldom. */
const WINDOW = { cols: 511, rows: 80, width: 0, height: 0, term: 'vt100' } as const;
/** A prompt counts when nothing follows it for this long: an output may look like a prompt where it is cut in transit. */
const SETTLE_MILLISECONDS = 20;

/** Replies of a mode change, filled with secrets. */
export type RepliesFor = (answers: Mode['answers']) => Reply[];

/** One interactive terminal with a command shell at the other end, as network devices have (RFC 4254 section 6.2). */
export class ShellSession implements Session {
  readonly #channel: ClientChannel;
  readonly #connection: SshConnection;
  readonly #book: ShellBook;
  readonly #repliesFor: RepliesFor;
  readonly #terminal = new Terminal();
  readonly #decoder = new TextDecoder();
  #mode: string | null = null;
  #closed = false;
  #received = 0;
  #onData: () => void = () => undefined;

  private constructor(
    channel: ClientChannel,
    connection: SshConnection,
    book: ShellBook,
    repliesFor: RepliesFor,
  ) {
    this.#channel = channel;
    this.#connection = connection;
    this.#book = book;
    this.#repliesFor = repliesFor;
    const take = (chunk: Buffer) => {
      this.#received += chunk.length;
      this.#terminal.write(this.#decoder.decode(chunk, { stream: true }));
      this.#onData();
    };
    channel.on('data', take);
    channel.stderr.on('data', take);
    channel.on('error', () => undefined);
    channel.on('close', () => {
      this.#closed = true;
      this.#onData();
    });
  }

  /** Opens the terminal and waits for the first prompt. Throws `links/timeout`, `links/closed`, `links/refused`. */
  static async open(
    connection: SshConnection,
    book: ShellBook,
    repliesFor: RepliesFor,
    timeoutSeconds: number,
  ): Promise<ShellSession> {
    const opening = new Promise<ShellSession>((resolve, reject) => {
      connection.client.shell(WINDOW, (error, channel) => {
        if (error === undefined) resolve(new ShellSession(channel, connection, book, repliesFor));
        else reject(linkError('links/refused', 'The device opens no terminal.', { cause: error }));
      });
    });
    const session = await within(
      timeoutSeconds,
      'Opening a terminal',
      connection.guard(opening),
      () => undefined,
    );
    const end = await session.#untilPrompt([], timeoutSeconds, 'The first prompt');
    if (end === 'closed')
      throw linkError('links/closed', 'The device closed the terminal before its first prompt.');
    return session;
  }

  get open(): boolean {
    return !this.#closed && this.#connection.open;
  }

  async run(command: Command): Promise<Output> {
    if (this.#closed) throw this.#connection.ended ?? linkError('links/closed', 'The terminal was closed.');
    await this.#goTo(command.mode, command.timeoutSeconds);
    return this.#type(command.text, command.replies, command.timeoutSeconds);
  }

  close(): void {
    this.#channel.destroy();
  }

  async #goTo(mode: string | null, timeoutSeconds: number): Promise<void> {
    if (mode === this.#mode) return;
    if (this.#mode !== null)
      await this.#change(this.#book.modes[this.#mode]!.leave, [], null, timeoutSeconds);
    if (mode === null) return;
    const { enter, answers } = this.#book.modes[mode]!;
    await this.#change(enter, this.#repliesFor(answers), mode, timeoutSeconds);
  }

  async #change(
    text: string,
    replies: readonly Reply[],
    to: string | null,
    timeoutSeconds: number,
  ): Promise<void> {
    const output = await this.#type(text, replies, timeoutSeconds);
    if (output.closed) throw linkError('links/closed', `The device closed the terminal at "${text}".`);
    if (this.#mode === to) return;
    const goal = to === null ? "the session's own prompt" : `mode "${to}"`;
    const words = output.refusal === null ? '' : `: ${output.refusal}`;
    // A wrong secret shows itself here; the secret is in neither the command nor the output.
    const code = replies.some((reply) => reply.secret) ? 'links/auth' : 'links/refused';
    throw linkError(code, `"${text}" did not lead to ${goal}${words}.`);
  }

  async #type(text: string, replies: readonly Reply[], timeoutSeconds: number): Promise<Output> {
    if (this.#closed) return { bytes: new Uint8Array(), text: '', refusal: null, closed: true };
    this.#terminal.clear();
    this.#received = 0;
    this.#channel.write(`${text}${this.#book.enter}`);
    const end = await this.#untilPrompt(replies, timeoutSeconds, `"${text}"`);
    const lines = [...this.#terminal.lines];
    if (lines[0]?.trim() === text.trim()) lines.shift();
    const output = lines.map((line) => `${line}\n`).join('');
    return {
      bytes: new TextEncoder().encode(output),
      text: output,
      refusal: refusalIn(output, this.#book.refusals),
      closed: end === 'closed',
    };
  }

  /** Answers pagers and questions until a prompt stands, and notes the mode that it shows. */
  #untilPrompt(
    replies: readonly Reply[],
    timeoutSeconds: number,
    what: string,
  ): Promise<'prompt' | 'closed'> {
    let settle: NodeJS.Timeout | undefined;
    // A question is answered once where it stands; the echo of the answer must not count as the question again.
    let answered = '';
    const waiting = new Promise<'prompt' | 'closed'>((resolve, reject) => {
      this.#onData = () => {
        clearTimeout(settle);
        if (this.#closed) return resolve('closed');
        if (this.#received > MAX_OUTPUT_BYTES)
          return reject(linkError('links/unreadable-output', `${what} printed more than 64 MiB.`));
        const line = this.#terminal.unfinished;
        if (line === '') return;
        const { pager } = this.#book;
        if (pager?.pattern.regex.test(line)) {
          this.#terminal.dropUnfinished();
          this.#channel.write(pager.answer);
          return;
        }
        const reply = replies.find((one) => one.pattern.regex.test(line));
        if (reply !== undefined && line !== answered) {
          answered = line;
          this.#channel.write(`${reply.text}${this.#book.enter}`);
          return;
        }
        if (this.#promptIn(line) === undefined) return;
        settle = setTimeout(() => {
          this.#mode = this.#promptIn(line) ?? null;
          resolve('prompt');
        }, SETTLE_MILLISECONDS);
      };
      this.#onData();
    });
    const stop = () => {
      // What the device prints now belongs to no command any more.
      this.#closed = true;
      this.#channel.destroy();
    };
    return within(timeoutSeconds, what, this.#guarded(waiting), stop).finally(() => {
      clearTimeout(settle);
      this.#onData = () => undefined;
    });
  }

  /** A connection that breaks closes the terminal: that is an end, and the caller judges it. */
  async #guarded(waiting: Promise<'prompt' | 'closed'>): Promise<'prompt' | 'closed'> {
    try {
      return await this.#connection.guard(waiting);
    } catch (error) {
      if (error !== this.#connection.ended) throw error;
      this.#closed = true;
      return 'closed';
    }
  }

  /** The mode whose prompt the line is (null: the session's own), or undefined. */
  #promptIn(line: string): string | null | undefined {
    const matches = (pattern: Pattern) => pattern.regex.test(line);
    // A mode's prompt first: it may be narrower than the session's own.
    for (const [name, mode] of Object.entries(this.#book.modes)) if (matches(mode.prompt)) return name;
    return matches(this.#book.prompt) ? null : undefined;
  }
}
