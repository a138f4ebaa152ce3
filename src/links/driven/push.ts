import { linkError } from '../errors.ts';
import type { Handbook, TransferAction, Transport } from '../handbook/index.ts';
import { readFields } from '../handbook/index.ts';
import type { NamedFile, Progress, ReleaseFile, RemoteFile } from '../port/index.ts';
import type { Way } from '../session/index.ts';
import { safeFileName, safeValue } from './placeholders.ts';
import { UNIT_BYTES } from './reading-values.ts';
import type { Runner, Step } from './runner.ts';

/** The folder part of a path; `/` where there is none. */
const folderOf = (path: string) => path.slice(0, Math.max(path.lastIndexOf('/'), 0)) || '/';

/** Moves files onto a device as a handbook says. */
export class Push {
  readonly #runner: Runner;
  readonly #way: () => Promise<Way>;
  readonly #limits: Handbook['limits'];

  constructor(runner: Runner, way: () => Promise<Way>, limits: Handbook['limits']) {
    this.#runner = runner;
    this.#way = way;
    this.#limits = limits;
  }

  /** Looks for the release on the device: null where it is not there or is another. */
  async find(action: TransferAction, file: ReleaseFile): Promise<RemoteFile | null> {
    const path = await this.#pathOf(action, file);
    const digest = await this.#digest(action, file, path, true);
    return digest === file.sha256 ? { path, sha256: file.sha256, verified: true } : null;
  }

  /** Throws `links/no-space`, `links/digest-mismatch`, `links/transfer-failed` and those of running commands. */
  async send(action: TransferAction, file: ReleaseFile, progress?: Progress): Promise<RemoteFile> {
    const path = await this.#pathOf(action, file);
    await this.#checkSpace(action, file);
    const way = await this.#way();
    const stall = this.#limits.command;
    if (action.by === 'http') {
      const step = { ...action, run: action.run! };
      await way.offer(
        file.name,
        { path: file.path, size: file.size },
        (url) =>
          this.#runner.run(step, {
            action: 'transfer',
            limitSeconds: this.#limits.transfer,
            values: { url, name: file.name, path },
          }),
        progress,
      );
    } else {
      if (action.by === 'sftp') await way.sftp.makeFolder(folderOf(path));
      await way[action.by].sendFile(file.path, path, file.size, stall, progress);
    }
    const digest = await this.#digest(action, file, path, false);
    if (digest === file.sha256) return { path, sha256: file.sha256, verified: true };
    throw linkError(
      'links/digest-mismatch',
      `${file.name} arrived damaged: its SHA-256 is ${file.sha256}, the device's copy has ${digest}.`,
      {
        advice: 'Transfer it again; if it happens twice, suspect the file or the disk.',
      },
    );
  }

  /** Puts the files of a configuration below a folder. */
  async putFiles(
    step: { put: string; by: Transport; run?: string | undefined } & Omit<Step, 'run'>,
    files: readonly NamedFile[],
  ): Promise<void> {
    const folder = (await this.#runner.filled(step.put)).replace(/(?<=.)\/$/u, '');
    // The folder is made empty first: never the root.
    if (folder === '/' || folder === '.')
      throw linkError('links/unsafe-name', `Files cannot be put into ${folder} itself.`);
    for (const file of files) safeFileName(file.name);
    const way = await this.#way();
    const stall = this.#limits.command;
    if (step.by === 'sftp') await way.sftp.emptyFolder(folder);
    for (const file of files) {
      const path = `${folder}/${file.name}`;
      if (step.by === 'http') await this.#pull(way, step, file);
      else if (step.by === 'scp') await way.scp.sendBytes(safeValue('file name', path), file.bytes, stall);
      else {
        await way.sftp.makeFolder(folderOf(path));
        await way.sftp.sendBytes(path, file.bytes, stall);
      }
    }
  }

  async #pull(
    way: Way,
    step: { run?: string | undefined } & Omit<Step, 'run'>,
    file: NamedFile,
  ): Promise<void> {
    const { run } = step;
    if (run === undefined)
      throw linkError('links/not-in-handbook', 'The handbook does not say which command pulls {url}.');
    await way.offer(file.name, { bytes: file.bytes }, (url) =>
      this.#runner.run(
        { ...step, run },
        { action: 'apply', limitSeconds: this.#limits.command, values: { url, name: file.name } },
      ),
    );
  }

  #pathOf(action: TransferAction, file: ReleaseFile): Promise<string> {
    return this.#runner.filled(action.to, { name: file.name });
  }

  async #digest(
    action: TransferAction,
    file: ReleaseFile,
    path: string,
    orNone: boolean,
  ): Promise<string | null> {
    const { digest } = action;
    const output = await this.#runner.run(digest, {
      action: 'transfer',
      limitSeconds: this.#limits.transfer,
      values: { path, name: file.name },
      evenRefused: orNone,
    });
    const { values, matches } = readFields(output.text, { digest: digest.read });
    this.#runner.trace('transfer', digest.run, output, matches);
    if (values.digest !== undefined) return values.digest.toLowerCase();
    if (orNone) return null;
    throw this.#runner.unreadable('transfer', 'the digest of the file', [output.text]);
  }

  async #checkSpace(action: TransferAction, file: ReleaseFile): Promise<void> {
    const { space } = action;
    if (space === undefined) return;
    const output = await this.#runner.run(space, { action: 'transfer', limitSeconds: this.#limits.command });
    const { values } = readFields(output.text, { free: space.read });
    const free = Number(values.free) * UNIT_BYTES[space.unit];
    if (!Number.isFinite(free)) throw this.#runner.unreadable('transfer', 'the free space', [output.text]);
    if (free < file.size)
      throw linkError(
        'links/no-space',
        `The device has no space for ${file.name}: ${file.size} bytes are needed, ${free} are free.`,
      );
  }
}
