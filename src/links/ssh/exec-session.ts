import type { ClientChannel } from 'ssh2';
import { linkError } from '../errors.ts';
import type { Pattern } from '../handbook/index.ts';
import type { Command, Output, Reply, Session } from '../session/index.ts';
import type { SshConnection } from './connection.ts';
import { lastWords, refusalIn } from './refusal.ts';
import { within } from './time-limit.ts';

/** More than this from one command is not an answer but a fault: it would fill the workbench's memory. */
export const MAX_OUTPUT_BYTES = 64 * 1024 * 1024;

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
    let channel: ClientChannel | undefined;
    const stop = () => {
      channel?.signal('KILL');
      channel?.destroy();
    };
    const work = openExec(this.#connection, command.text).then((opened) => {
      channel = opened;
      return collect(opened, command.replies);
    });
    let ended: Ended;
    try {
      ended = await within(command.timeoutSeconds, `"${command.text}"`, this.#connection.guard(work), stop);
    } catch (error) {
      if (error !== this.#connection.ended) throw error;
      // The connection broke before the command ended; the caller decides whether that was to be expected.
      return { bytes: new Uint8Array(), text: '', refusal: null, closed: true };
    }
    const text = ended.out.toString('utf8');
    const errorText = ended.err.toString('utf8');
    const closed = ended.code === null;
    const refusal =
      refusalIn(`${text}\n${errorText}`, this.#refusals) ??
      (closed || ended.code === 0
        ? null
        : (lastWords(errorText, text) ?? `it ended with code ${ended.code}`));
    return { bytes: ended.out, text, refusal, closed };
  }

  close(): void {
    // Channels end with their commands.
  }
}

export function openExec(connection: SshConnection, command: string): Promise<ClientChannel> {
  return connection.guard(
    new Promise((resolve, reject) => {
      connection.client.exec(command, (error, channel) => {
        if (error === undefined) resolve(channel);
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
  /** Exit code; null when the channel closed without one (or a signal ended the command). */
  readonly code: number | null;
}

function collect(channel: ClientChannel, replies: readonly Reply[]): Promise<Ended> {
  return new Promise((resolve, reject) => {
    const out: Buffer[] = [];
    const err: Buffer[] = [];
    let size = 0;
    let code: number | null = null;
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
    channel.on('exit', (exitCode: number | null) => {
      code = exitCode;
    });
    channel.on('error', reject);
    channel.on('close', () => resolve({ out: Buffer.concat(out), err: Buffer.concat(err), code }));
    if (replies.length === 0) channel.end();
  });
}
