import { setTimeout as pause } from 'node:timers/promises';
import type { ClientChannel } from 'ssh2';
import { linkError } from '../errors.ts';
import type { Pattern } from '../handbook/index.ts';
import type { Command, Output, Reply, Session } from '../session/index.ts';
import type { SshConnection } from './connection.ts';
import { lastWords, refusalIn } from './refusal.ts';
import { within } from './time-limit.ts';

/** More than this from one command is not an answer but a fault: it would fill the workbench's memory. */
export const MAX_OUTPUT_BYTES = 64 * 1024 * 1024;

const BREAK_MILLISECONDS = 100;

/** Each command in an exec channel of its own (RFC 4254 section 6.5). */
export class ExecSession implements Session {
  readonly #connection: SshConnection;
  readonly #refusals: readonly Pattern[];

  constructor(connection: SshConnection, refusals: readonly Pattern[]) {
    this.#connection = connection;
    this.#refusals = refusals;
  }

  get open(): boolean {
    return this.#connection.open;
  }

  async run(command: Command): Promise<Output> {
    if (this.#connection.ended !== null) throw this.#connection.ended;
    let channel: ClientChannel | undefined;
    const stop = () => {
      channel?.signal('KILL');
      channel?.destroy();
    };
    const work = openExec(this.#connection, command.text, (opened) => {
      channel = opened;
      return collect(opened, command.replies);
    });
    let ended: Ended;
    try {
      ended = await within(command.timeoutSeconds, `"${command.text}"`, work, stop);
    } catch (error) {
      if (error !== this.#connection.ended) throw error;
      // The connection broke before the command ended; the caller decides whether that was to be expected.
      return { bytes: new Uint8Array(), text: '', refusal: null, closed: true };
    }
    const text = ended.out.toString('utf8');
    const errorText = ended.err.toString('utf8');
    const closed = ended.killed || (ended.code === null && (await this.#breaksNow()));
    const refusal =
      refusalIn(`${text}\n${errorText}`, this.#refusals) ??
      (closed || (ended.code ?? 0) === 0
        ? null
        : (lastWords(errorText, text) ?? `it ended with code ${ended.code}`));
    return { bytes: ended.out, text, refusal, closed };
  }

  /**
   * Many devices never send an exit code (RFC 4254 section 6.10 only recommends it), so that its absence alone does not tell a
   * command that ended from a device that went down under it: then the connection ends too.
   */
  async #breaksNow(): Promise<boolean> {
    if (this.#connection.open) await pause(BREAK_MILLISECONDS);
    return !this.#connection.open;
  }

  close(): void {
    // Channels end with their commands.
  }
}

/**
 * Opens an exec channel and gives it to `use` in the same turn: a short command may have ended, exit code and all, before a
 * promise would go on.
 */
export function openExec<T>(
  connection: SshConnection,
  command: string,
  use: (channel: ClientChannel) => Promise<T>,
): Promise<T> {
  return connection.guard(
    new Promise((resolve, reject) => {
      connection.client.exec(command, (error, channel) => {
        if (error === undefined) use(channel).then(resolve, reject);
        else
          reject(
            linkError('links/refused', `The device opens no channel for "${command}".`, { cause: error }),
          );
      });
    }),
  );
}

interface Ended {
  readonly out: Buffer;
  readonly err: Buffer;
  /** Exit code; null when the channel closed without one. */
  readonly code: number | null;
  /** A signal ended the command. */
  readonly killed: boolean;
}

function collect(channel: ClientChannel, replies: readonly Reply[]): Promise<Ended> {
  return new Promise((resolve, reject) => {
    const out: Buffer[] = [];
    const err: Buffer[] = [];
    let size = 0;
    let code: number | null = null;
    let killed = false;
    let unfinished = '';
    const take = (into: Buffer[]) => (chunk: Buffer) => {
      into.push(chunk);
      size += chunk.length;
      if (size > MAX_OUTPUT_BYTES) {
        channel.destroy();
        reject(linkError('links/unreadable-output', 'The command printed more than 64 MiB.'));
      }
      if (replies.length === 0) return;
      unfinished = (unfinished + chunk.toString('utf8')).split('\n').at(-1)!;
      const reply = replies.find((one) => one.pattern.regex.test(unfinished));
      if (reply === undefined) return;
      unfinished = '';
      channel.write(`${reply.text}\n`);
    };
    channel.on('data', take(out));
    channel.stderr.on('data', take(err));
    channel.on('exit', (exitCode: number | null, signal?: string) => {
      code = exitCode;
      killed = signal !== undefined;
    });
    channel.on('error', reject);
    channel.on('close', () => resolve({ out: Buffer.concat(out), err: Buffer.concat(err), code, killed }));
    if (replies.length === 0) channel.end();
  });
}
