import { open } from 'node:fs/promises';
import type { ClientChannel } from 'ssh2';
import { linkError } from '../errors.ts';
import type { NamedFile, Progress } from '../port/index.ts';
import { noSpace } from '../session/index.ts';
import type { SshConnection } from './connection.ts';
import { MAX_OUTPUT_BYTES, openExec } from './exec-session.ts';
import { ScpReader } from './scp-reader.ts';
import { StallWatch } from './stall.ts';

/**
 * Files over the copy protocol of rcp that `scp -t` and `scp -f` speak at the device's end (OpenSSH scp.c: sink, source).
 * There is no standard for it; both ends acknowledge each step by a zero byte, 1 or 2 and a line mean a mistake.
 */
export class ScpFiles {
  readonly #connection: SshConnection;

  constructor(connection: SshConnection) {
    this.#connection = connection;
  }

  async sendFile(
    local: string,
    remote: string,
    size: number,
    stallSeconds: number,
    progress?: Progress,
  ): Promise<void> {
    // Opened before the device hears of it: a stream that fails before anyone reads it would end the process.
    const file = await open(local).catch((cause: unknown) => {
      throw linkError('links/cannot-read', 'The file cannot be read on the workbench.', {
        cause,
        place: { file: local },
      });
    });
    try {
      await this.#send(remote, size, stallSeconds, file.createReadStream({ autoClose: false }), progress);
    } finally {
      await file.close();
    }
  }

  async sendBytes(remote: string, bytes: Uint8Array, stallSeconds: number): Promise<void> {
    await this.#send(remote, bytes.length, stallSeconds, [bytes]);
  }

  /** All regular files below a folder, by their names relative to it, in name order. */
  async readFolder(
    folder: string,
    wanted: (name: string) => boolean,
    stallSeconds: number,
  ): Promise<NamedFile[]> {
    const channel = await openExec(this.#connection, `scp -r -f ${folder}`, async (opened) => opened);
    const watch = new StallWatch(stallSeconds, `Reading ${folder}`, () => channel.destroy());
    const files = await this.#guarded(
      folder,
      watch,
      receiveAll(new ScpReader(channel, () => watch.moved()), channel),
    );
    return files.filter((file) => wanted(file.name)).sort((a, b) => (a.name < b.name ? -1 : 1));
  }

  async #send(
    remote: string,
    size: number,
    stallSeconds: number,
    chunks: AsyncIterable<Uint8Array> | Iterable<Uint8Array>,
    progress?: Progress,
  ): Promise<void> {
    const channel = await openExec(this.#connection, `scp -t ${remote}`, async (opened) => opened);
    const watch = new StallWatch(stallSeconds, `Sending ${remote}`, () => channel.destroy());
    const reader = new ScpReader(channel, () => watch.moved());
    const work = async () => {
      await reader.acknowledged();
      channel.write(`C0644 ${size} ${remote.slice(remote.lastIndexOf('/') + 1)}\n`);
      await reader.acknowledged();
      let done = 0;
      for await (const chunk of chunks) {
        done += chunk.length;
        if (done > size) throw linkError('links/cannot-read', 'The file grew while it was read.');
        await reader.alongside(written(channel, chunk));
        watch.moved();
        progress?.(done, size);
      }
      if (done < size) throw linkError('links/cannot-read', 'The file shrank while it was read.');
      channel.write('\0');
      await reader.acknowledged();
      channel.end();
    };
    await this.#guarded(remote, watch, work());
  }

  async #guarded<T>(remote: string, watch: StallWatch, work: Promise<T>): Promise<T> {
    try {
      return await watch.over(this.#connection.guard(work));
    } catch (error) {
      const { message, name } = error as Error;
      if (name === 'TuckpointError') throw error;
      if (noSpace(message))
        throw linkError('links/no-space', `The device has no space for ${remote}: ${message}`, {
          cause: error,
        });
      throw linkError('links/transfer-failed', `The device refused ${remote} over SCP: ${message}`, {
        cause: error,
      });
    }
  }
}

function written(channel: ClientChannel, chunk: Uint8Array): Promise<void> {
  return new Promise((resolve, reject) => {
    channel.write(chunk, (error?: Error | null) => (error ? reject(error) : resolve()));
  });
}

/** The sink's side of `scp -r -f`: C is a file, D enters a folder, E leaves it, T are times. */
async function receiveAll(reader: ScpReader, channel: ClientChannel): Promise<NamedFile[]> {
  const files: NamedFile[] = [];
  const folders: string[] = [];
  let total = 0;
  channel.write('\0');
  for (let line = await reader.line(); line !== null; line = await reader.line()) {
    if (line.startsWith('E')) folders.pop();
    else if (!line.startsWith('T')) {
      const head = /^([CD])[0-7]{4} (\d+) ([^/]+)$/u.exec(line);
      if (head === null || head[3] === '.' || head[3] === '..')
        throw new Error(`it sent "${line.slice(0, 80)}"`);
      const [, kind, length, name] = head;
      if (kind === 'D') folders.push(name!);
      else {
        total += Number(length);
        if (total > MAX_OUTPUT_BYTES) throw new Error('it sent more than 64 MiB');
        channel.write('\0');
        const bytes = await reader.bytes(Number(length));
        await reader.acknowledged();
        // The first folder is the one that was asked for.
        files.push({ name: [...folders.slice(1), name].join('/'), bytes });
      }
    }
    channel.write('\0');
  }
  return files;
}
