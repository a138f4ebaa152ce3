import type { SFTPWrapper, Stats } from 'ssh2';
import { linkError } from '../errors.ts';
import type { NamedFile, Progress } from '../port/index.ts';
import type { SshConnection } from './connection.ts';
import { MAX_OUTPUT_BYTES } from './exec-session.ts';
import { StallWatch } from './stall.ts';

/** Status codes of SFTP (draft-ietf-secsh-filexfer-02 section 7). */
const NO_SUCH_FILE = 2;

/** Files over the SSH File Transfer Protocol. One channel, opened on first use. */
export class SftpFiles {
  readonly #connection: SshConnection;
  #sftp: SFTPWrapper | undefined;

  constructor(connection: SshConnection) {
    this.#connection = connection;
  }

  /** Sends a file of the workbench. Throws `links/transfer-failed`, `links/no-space`, `links/timeout`, `links/closed`. */
  async sendFile(
    local: string,
    remote: string,
    size: number,
    stallSeconds: number,
    progress?: Progress,
  ): Promise<void> {
    const sftp = await this.#open();
    const watch = new StallWatch(stallSeconds, `Sending ${remote}`, () => this.#connection.close());
    const work = call<void>((done) =>
      sftp.fastPut(
        local,
        remote,
        {
          step: (total) => {
            watch.moved();
            progress?.(total, size);
          },
        },
        done,
      ),
    );
    try {
      await watch.over(this.#connection.guard(work));
    } catch (error) {
      throw await this.#explained(sftp, error, remote, size);
    }
  }

  async sendBytes(remote: string, bytes: Uint8Array, stallSeconds: number): Promise<void> {
    const sftp = await this.#open();
    const watch = new StallWatch(stallSeconds, `Sending ${remote}`, () => this.#connection.close());
    try {
      await watch.over(
        this.#connection.guard(call<void>((done) => sftp.writeFile(remote, Buffer.from(bytes), done))),
      );
    } catch (error) {
      throw await this.#explained(sftp, error, remote, bytes.length);
    }
  }

  /** All regular files below a folder, by their names relative to it, in name order. */
  async readFolder(
    folder: string,
    wanted: (name: string) => boolean,
    stallSeconds: number,
  ): Promise<NamedFile[]> {
    const sftp = await this.#open();
    const files: NamedFile[] = [];
    let total = 0;
    const watch = new StallWatch(stallSeconds, `Reading ${folder}`, () => this.#connection.close());
    const walk = async (below: string): Promise<void> => {
      const at = below === '' ? folder : `${folder}/${below}`;
      const entries = await call<{ filename: string; attrs: Stats }[]>((done) => sftp.readdir(at, done));
      for (const { filename, attrs } of entries.sort((a, b) => (a.filename < b.filename ? -1 : 1))) {
        watch.moved();
        const name = below === '' ? filename : `${below}/${filename}`;
        if (filename === '.' || filename === '..') continue;
        if (attrs.isDirectory()) await walk(name);
        else if (attrs.isFile() && wanted(name)) {
          total += attrs.size;
          if (total > MAX_OUTPUT_BYTES)
            throw linkError('links/transfer-failed', `${folder} holds more than 64 MiB.`, {
              advice: 'Narrow "files" in the handbook.',
            });
          files.push({
            name,
            bytes: new Uint8Array(await call<Buffer>((done) => sftp.readFile(`${folder}/${name}`, done))),
          });
        }
      }
    };
    try {
      await watch.over(this.#connection.guard(walk('')));
    } catch (error) {
      throw await this.#explained(sftp, error, folder, 0);
    }
    return files;
  }

  /** Makes a folder exist and hold nothing. */
  async emptyFolder(folder: string): Promise<void> {
    const sftp = await this.#open();
    const clear = async (at: string): Promise<void> => {
      for (const { filename, attrs } of await call<{ filename: string; attrs: Stats }[]>((done) =>
        sftp.readdir(at, done),
      )) {
        if (filename === '.' || filename === '..') continue;
        const path = `${at}/${filename}`;
        if (!attrs.isDirectory()) await call<void>((done) => sftp.unlink(path, done));
        else {
          await clear(path);
          await call<void>((done) => sftp.rmdir(path, done));
        }
      }
    };
    try {
      await this.makeFolder(folder);
      await this.#connection.guard(clear(folder));
    } catch (error) {
      throw await this.#explained(sftp, error, folder, 0);
    }
  }

  /** Makes a folder and those above it. */
  async makeFolder(folder: string): Promise<void> {
    const sftp = await this.#open();
    const exists = (path: string) =>
      call<Stats>((done) => sftp.stat(path, done)).then(
        () => true,
        (error: { code?: number }) => {
          if (error.code === NO_SUCH_FILE) return false;
          throw error;
        },
      );
    if (folder === '' || folder === '/' || (await this.#connection.guard(exists(folder)))) return;
    await this.makeFolder(folder.slice(0, Math.max(folder.lastIndexOf('/'), 0)));
    await this.#connection.guard(call<void>((done) => sftp.mkdir(folder, done)));
  }

  /** Removes what a failed transfer left; that it cannot be removed is no further error. */
  async #discard(sftp: SFTPWrapper, remote: string): Promise<void> {
    if (this.#connection.open) await call<void>((done) => sftp.unlink(remote, done)).catch(() => undefined);
  }

  async #open(): Promise<SFTPWrapper> {
    this.#sftp ??= await this.#connection.guard(
      call<SFTPWrapper>((done) => this.#connection.client.sftp(done)).catch((cause: unknown) => {
        throw linkError('links/transfer-failed', 'The device offers no SFTP.', {
          cause,
          advice: 'Let the handbook use scp or http.',
        });
      }),
    );
    return this.#sftp;
  }

  /** SFTP has no status for a full disk (it says "Failure"): the free space tells. */
  async #explained(sftp: SFTPWrapper, error: unknown, remote: string, size: number): Promise<unknown> {
    const { code, message, name } = error as { code?: number | string; message: string; name: string };
    if (name === 'TuckpointError') return error;
    if (code === 'ENOENT' || code === 'EACCES')
      return linkError('links/cannot-read', 'The file cannot be read on the workbench.', { cause: error });
    if (size > 0 && this.#connection.open) {
      const folder = remote.slice(0, Math.max(remote.lastIndexOf('/'), 1));
      const space = await freeBytes(sftp, folder);
      await this.#discard(sftp, remote);
      if (space !== null && space < size)
        return linkError(
          'links/no-space',
          `The device has no space for ${remote}: ${size} bytes are needed.`,
          {
            advice: `It had ${space} bytes free in ${folder} when the transfer failed.`,
          },
        );
    }
    if (code === NO_SUCH_FILE)
      return linkError('links/transfer-failed', `The device has no ${remote}.`, { cause: error });
    return linkError('links/transfer-failed', `The device refused ${remote} over SFTP: ${message}.`, {
      cause: error,
    });
  }
}

/** OpenSSH's statvfs@openssh.com (PROTOCOL section 4.4); null where the device has it not. */
async function freeBytes(sftp: SFTPWrapper, folder: string): Promise<number | null> {
  try {
    const stat = await call<Record<string, number>>((done) => {
      (sftp as unknown as { ext_openssh_statvfs(path: string, done: unknown): void }).ext_openssh_statvfs(
        folder,
        done,
      );
    });
    return Number(stat.f_bavail) * Number(stat.f_frsize);
  } catch {
    return null;
  }
}

function call<T>(
  start: (done: (error: Error | null | undefined, value?: unknown) => void) => unknown,
): Promise<T> {
  return new Promise((resolve, reject) => {
    start((error, value) => (error === null || error === undefined ? resolve(value as T) : reject(error)));
  });
}
