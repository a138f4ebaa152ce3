import { createHash } from 'node:crypto';
import { compressed, decompressed, TIGHT } from './compressor.ts';
import { sha256 } from './digest.ts';
import { recordSchema } from './entry.ts';
import { archiveError } from './errors.ts';
import { pathBelow } from './names.ts';
import { cutIntoPieces } from './pieces.ts';
import type { CaptureFile, CaptureRecord } from './port.ts';
import { packTar, unpackTar } from './tar.ts';

/**
 * A pack holds many captures of one device, each piece of them once. It is a tar of
 *
 * - `captures/ID/capture.json`: what is known of the capture (who, when, names, sizes, SHA-256 of its files)
 * - `captures/ID/NAME.pieces`: the pieces of the file NAME, one path per line, in order
 * - `pieces/N`: a piece: some thousand bytes of a file as delivered
 *
 * so that, unpacked, `xargs cat < captures/ID/NAME.pieces` prints the file: no program of ours is needed.
 * At rest it is age(zstd(tar)).
 */
export class Pack {
  readonly #records = new Map<string, CaptureRecord>();
  /** What stands in the tar, in its order: a capture's new pieces, then its lists. */
  readonly #entries: { name: string; bytes: Uint8Array }[] = [];
  readonly #pieces = new Map<string, Uint8Array>();
  readonly #lists = new Map<string, string>();
  /** SHA-256 of a piece -> its path. Filled when the first capture is added. */
  #known: Map<string, string> | undefined;
  #size = 0;

  /** Size of the tar in bytes, roughly. */
  get size(): number {
    return this.#size;
  }

  get records(): readonly CaptureRecord[] {
    return [...this.#records.values()];
  }

  #enter(name: string, bytes: Uint8Array): void {
    this.#entries.push({ name, bytes });
    this.#size += 512 + Math.ceil(bytes.length / 512) * 512;
  }

  #list(id: string, file: string): string {
    return `captures/${id}/${pathBelow(file)}.pieces`;
  }

  add(record: CaptureRecord, files: readonly CaptureFile[]): void {
    this.#known ??= new Map([...this.#pieces].map(([name, bytes]) => [sha256(bytes), name]));
    const known = this.#known;
    const lists: [string, string][] = [];
    for (const file of files) {
      const paths = cutIntoPieces(file.bytes).map((piece) => {
        const digest = sha256(piece);
        const there = known.get(digest);
        if (there !== undefined) return there;
        const name = `pieces/${this.#pieces.size + 1}`;
        known.set(digest, name);
        const own = new Uint8Array(piece); // not a view, which would keep the whole file in memory
        this.#pieces.set(name, own);
        this.#enter(name, own);
        return name;
      });
      lists.push([this.#list(record.id, file.name), `${paths.join('\n')}\n`]);
    }
    for (const [name, text] of lists) {
      this.#lists.set(name, text);
      this.#enter(name, Buffer.from(text));
    }
    this.#enter(`captures/${record.id}/capture.json`, Buffer.from(`${JSON.stringify(record)}\n`));
    this.#records.set(record.id, record);
  }

  has(id: string): boolean {
    return this.#records.has(id);
  }

  /** The pieces of a file of a capture, in order. Throws `archive/damaged`. */
  #piecesOf(id: string, name: string): Uint8Array[] {
    const list = this.#lists.get(this.#list(id, name));
    if (list === undefined) throw archiveError('archive/damaged', `The pack does not hold ${name} of ${id}.`);
    return list
      .split('\n')
      .slice(0, -1)
      .map((piece) => {
        const found = this.#pieces.get(piece);
        if (found === undefined) throw archiveError('archive/damaged', `The pack does not hold ${piece}.`);
        return found;
      });
  }

  /** Checks the digest of every file of a capture, without putting the files together. Throws `archive/damaged`. */
  check(record: Pick<CaptureRecord, 'id' | 'files'>): void {
    for (const { name, sha256: wanted } of record.files) {
      const hash = createHash('sha256');
      for (const piece of this.#piecesOf(record.id, name)) hash.update(piece);
      if (hash.digest('hex') !== wanted)
        throw archiveError('archive/damaged', `The file ${name} inside is not the one captured.`);
    }
  }

  /** The files of a capture, put together, digests checked. Throws `archive/damaged`. */
  files(record: Pick<CaptureRecord, 'id' | 'files'>): CaptureFile[] {
    this.check(record);
    return record.files.map(({ name }) => ({
      name,
      bytes: new Uint8Array(Buffer.concat(this.#piecesOf(record.id, name))),
    }));
  }

  /** The pack as age's plain text: zstd(tar). The same pack gives the same bytes. */
  async write(): Promise<Uint8Array> {
    return compressed(await packTar(this.#entries, new Date(0)), TIGHT);
  }

  static async read(bytes: Uint8Array): Promise<Pack> {
    const pack = new Pack();
    for (const { name, bytes: content } of unpackTar(await decompressed(bytes))) {
      pack.#enter(name, content);
      if (name.startsWith('pieces/')) pack.#pieces.set(name, content);
      else if (name.endsWith('/capture.json')) {
        const record = recordSchema.parse(JSON.parse(Buffer.from(content).toString()));
        pack.#records.set(record.id, record);
      } else pack.#lists.set(name, Buffer.from(content).toString());
    }
    return pack;
  }
}
