import { createHash } from 'node:crypto';
import { compressed, decompressed, TIGHT } from './compressor.ts';
import { sha256 } from './digest.ts';
import { recordSchema } from './entry.ts';
import { archiveError } from './errors.ts';
import { pathBelow } from './names.ts';
import { cutIntoPieces } from './pieces.ts';
import type { CaptureFile, CaptureRecord } from './port.ts';
import { packTar, unpackTar } from './tar.ts';
import { Piece, weave } from './weave.ts';

const PIECES = 'pieces/';

function joined(pieces: readonly Uint8Array[]): Uint8Array {
  const bytes = new Uint8Array(pieces.reduce((sum, piece) => sum + piece.length, 0));
  let at = 0;
  for (const piece of pieces) {
    bytes.set(piece, at);
    at += piece.length;
  }
  return bytes;
}

/**
 * A pack holds many captures of one device, each piece of them once. It is a tar of
 *
 * - `pieces/N`: a piece: some thousand bytes of a file as delivered
 * - `captures/ID/NAME.pieces`: the pieces of the file NAME, one path per line, in order
 * - `captures/ID/capture.json`: what is known of the capture (who, when, names, sizes, SHA-256 of its files)
 *
 * Pieces stand in the tar in an order that is also their order in every file, so `tar -xO -T NAME.pieces` prints the
 * file: no program of ours is needed. At rest it is age(zstd(tar)).
 */
export class Pack {
  readonly #records = new Map<string, CaptureRecord>();
  /** As they stand in the tar. */
  #order: Piece[] = [];
  readonly #pieces = new Map<string, Piece>();
  readonly #lists = new Map<string, string>();
  #size = 0;

  /** Size of the tar in bytes, roughly. */
  get size(): number {
    return this.#size;
  }

  get records(): readonly CaptureRecord[] {
    return [...this.#records.values()];
  }

  #grow(length: number): void {
    this.#size += 512 + Math.ceil(length / 512) * 512;
  }

  #list(id: string, file: string): string {
    return `captures/${id}/${pathBelow(file)}.pieces`;
  }

  #enterPiece(piece: Piece): Piece {
    this.#pieces.set(piece.name, piece);
    this.#grow(piece.bytes.length);
    return piece;
  }

  #enterList(name: string, text: string): void {
    this.#lists.set(name, text);
    this.#grow(text.length);
  }

  #enterRecord(record: CaptureRecord): void {
    this.#records.set(record.id, record);
    this.#grow(JSON.stringify(record).length);
  }

  add(record: CaptureRecord, files: readonly CaptureFile[]): void {
    for (const file of files) {
      const cut = cutIntoPieces(file.bytes);
      const digests = cut.map((piece) => sha256(piece));
      const { order, pieces } = weave(this.#order, digests, (i) => {
        const own = new Uint8Array(cut[i]!); // not a view, which would keep the whole file in memory
        return this.#enterPiece(new Piece(`${PIECES}${this.#pieces.size + 1}`, own, digests[i]));
      });
      this.#order = order;
      this.#enterList(this.#list(record.id, file.name), pieces.map(({ name }) => `${name}\n`).join(''));
    }
    this.#enterRecord(record);
  }

  /** Paths of the pieces of a file of a capture, in order. Throws `archive/damaged`. */
  #paths(id: string, name: string): string[] {
    const list = this.#lists.get(this.#list(id, name));
    if (list === undefined) throw archiveError('archive/damaged', `The pack does not hold ${name} of ${id}.`);
    return list.split('\n').slice(0, -1);
  }

  #piecesOf(id: string, name: string): Uint8Array[] {
    return this.#paths(id, name).map((path) => {
      const found = this.#pieces.get(path);
      if (found === undefined) throw archiveError('archive/damaged', `The pack does not hold ${path}.`);
      return found.bytes;
    });
  }

  /** Do the pieces of every file stand in the tar in the file's order? Else another pack is to be begun. */
  inOrder(): boolean {
    const places = new Map(this.#order.map(({ name }, place) => [name, place]));
    return this.records.every(({ id, files }) =>
      files.every(({ name }) => {
        let last = -1;
        return this.#paths(id, name).every((path) => {
          const before = last;
          last = places.get(path) ?? -1;
          return last > before;
        });
      }),
    );
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
    return record.files.map(({ name }) => ({ name, bytes: joined(this.#piecesOf(record.id, name)) }));
  }

  /** The pack as age's plain text: zstd(tar). The same pack gives the same bytes. */
  async write(): Promise<Uint8Array> {
    const records = this.records.map((record) => ({
      name: `captures/${record.id}/capture.json`,
      bytes: Buffer.from(`${JSON.stringify(record)}\n`),
    }));
    const lists = [...this.#lists].map(([name, text]) => ({ name, bytes: Buffer.from(text) }));
    return compressed(packTar([...this.#order, ...lists, ...records], new Date(0)), TIGHT);
  }

  static async read(bytes: Uint8Array): Promise<Pack> {
    const pack = new Pack();
    for (const { name, bytes: content } of unpackTar(await decompressed(bytes))) {
      if (name.startsWith(PIECES)) pack.#order.push(pack.#enterPiece(new Piece(name, content)));
      else if (name.endsWith('/capture.json'))
        pack.#enterRecord(recordSchema.parse(JSON.parse(Buffer.from(content).toString())));
      else pack.#enterList(name, Buffer.from(content).toString());
    }
    return pack;
  }
}
