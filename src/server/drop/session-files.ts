import { type CaptureFile, checkName } from '#archive';
import { TuckpointError } from '#core/errors';

type DropErrorCode = 'server/too-large' | 'server/bad-delivery' | 'server/gap';

function refuse(code: DropErrorCode, message: string, advice: string): never {
  throw new TuckpointError<DropErrorCode>(code, message, { advice });
}

/** Names under which programs commonly write first, to rename when the file is whole (common practice, no source). */
const PROVISIONAL = /\.(tmp|temp|part|partial|filepart|uploading)$|^\.|\/\./i;

interface Incoming {
  name: string;
  readonly parts: { readonly offset: number; readonly bytes: Buffer }[];
  size: number;
  /** A part was refused: what is here is not the file. */
  broken: boolean;
}

/**
 * The files of one SFTP session, in memory until they are whole. A file is whole when it is closed; one with a
 * provisional name when it is renamed. Pure: what is whole is the answer of `close` and `rename`.
 */
export class SessionFiles {
  readonly #limit: number;
  readonly #open = new Map<number, Incoming>();
  /** Closed under a provisional name. */
  readonly #waiting = new Map<string, CaptureFile>();
  #next = 1;
  #held = 0;

  /** `limit`: bytes that the session may hold at once. */
  constructor(limit: number) {
    this.#limit = limit;
  }

  /** Begins a file; the answer is its handle. Throws `archive/bad-name`. */
  open(name: string): number {
    const path = name.replace(/^\/+/, '').replace(/^\.\//, '');
    checkName(path);
    if (this.#open.size >= 64) refuse('server/bad-delivery', 'Too many files are open.', 'Close some first.');
    this.#open.set(this.#next, { name: path, parts: [], size: 0, broken: false });
    this.#next += 1;
    return this.#next - 1;
  }

  has(handle: number): boolean {
    return this.#open.has(handle);
  }

  /** Throws `server/too-large`. Parts may come in any order. */
  write(handle: number, offset: number, bytes: Uint8Array): void {
    const file = this.#open.get(handle)!;
    this.#held += bytes.length;
    if (this.#held > this.#limit || offset + bytes.length > this.#limit) {
      file.broken = true;
      refuse(
        'server/too-large',
        `The delivery is larger than ${this.#limit} bytes.`,
        'Raise the limit, or send less.',
      );
    }
    file.parts.push({ offset, bytes: Buffer.from(bytes) });
    file.size = Math.max(file.size, offset + bytes.length);
  }

  /** The whole file, or null while its name is provisional. Throws `server/gap`, `server/bad-delivery`. */
  close(handle: number): CaptureFile | null {
    const { name, parts, size, broken } = this.#open.get(handle)!;
    this.#open.delete(handle);
    if (broken) refuse('server/too-large', `${name} was not taken whole.`, 'Send less.');
    let end = 0;
    for (const part of [...parts].sort((a, b) => a.offset - b.offset)) {
      if (part.offset > end) refuse('server/gap', `${name} has a gap at byte ${end}.`, 'Send it again.');
      end = Math.max(end, part.offset + part.bytes.length);
    }
    const bytes = Buffer.alloc(size);
    for (const part of parts) part.bytes.copy(bytes, part.offset);
    const file = { name, bytes: new Uint8Array(bytes) };
    if (PROVISIONAL.test(name)) {
      this.#waiting.set(name, file);
      return null;
    }
    this.#held -= size;
    return this.#whole(file);
  }

  /** The whole file under its new name, or null when there is none of the old name. Throws `archive/bad-name`. */
  rename(from: string, to: string): CaptureFile | null {
    const [old, name] = [from, to].map((one) => one.replace(/^\/+/, ''));
    checkName(name!);
    const file = this.#waiting.get(old!);
    if (file === undefined) return null;
    this.#waiting.delete(old!);
    this.#held -= file.bytes.length;
    return this.#whole({ name: name!, bytes: file.bytes });
  }

  #whole(file: CaptureFile): CaptureFile {
    if (file.bytes.length === 0)
      refuse('server/bad-delivery', `${file.name} is empty.`, 'Check what the device sends.');
    return file;
  }

  /** Names of files that were begun and never became whole. */
  get unfinished(): readonly string[] {
    return [...[...this.#open.values()].map((file) => file.name), ...this.#waiting.keys()];
  }
}
