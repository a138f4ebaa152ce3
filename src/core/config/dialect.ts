import type { Policy } from '#core/traffic';
import type { SourceFile, Span } from './source.ts';
import type { TypedConfiguration } from './typed-configuration.ts';

/** A change of text at a place: `text` replaces the span (an empty span inserts, an empty text deletes). */
export interface Edit {
  readonly place: Span;
  readonly text: string;
}

/** Reads one configuration language and writes changes back. Pure: no I/O, no clock, the same files give the same answer. */
export interface Dialect {
  /** The word for `--dialect`, for example `nftables`. */
  readonly name: string;
  /** The language in one phrase, for a list of dialects. */
  readonly title: string;
  /** How surely this file is in the language: 0 (no) to 1 (certain). Looks at the first few kilobytes only. */
  recognises(file: SourceFile): number;
  /**
   * Reads the files, in the order given, into objects. What is not understood becomes an opaque part.
   * `former` is a reading of files that are mostly the same: what is written there alike need not be worked out anew.
   * The answer is the same with and without it.
   * @throws TuckpointError `dialects/…` with file and line, when the text as a whole cannot be read.
   */
  read(files: readonly SourceFile[], former?: TypedConfiguration): TypedConfiguration;
  /**
   * The packet policy of a configuration this dialect read, or null when the language carries no policy.
   * @throws TuckpointError `dialects/…`, for example for a loop of jumps.
   */
  policy(configuration: TypedConfiguration): Policy | null;
  /**
   * The files with the edits made; every character outside the edits stays as it was.
   * @throws TuckpointError `dialects/…` when edits overlap or leave their file.
   */
  write(files: readonly SourceFile[], edits: readonly Edit[]): SourceFile[];
}
