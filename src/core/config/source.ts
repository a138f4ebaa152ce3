/** One file of a capture, as text. A dialect's reader is given these; offsets below index `text`. */
export interface SourceFile {
  /** The file as the user knows it, for example `etc/nftables.conf`. */
  readonly name: string;
  /** The whole content, decoded. A byte order mark, if any, is the first character, so writing back is exact. */
  readonly text: string;
}

/** A stretch of one file. Lines count from 1 and include `endLine`; `start` and `end` are offsets, `end` excluded. */
export interface Span {
  readonly file: string;
  readonly line: number;
  readonly endLine: number;
  readonly start: number;
  readonly end: number;
}

/** The raw text a span covers; empty when the file is not among `files`. */
export function textOf(files: readonly SourceFile[], span: Span): string {
  const file = files.find((candidate) => candidate.name === span.file);
  return file === undefined ? '' : file.text.slice(span.start, span.end);
}
