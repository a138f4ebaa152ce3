import type { Edit } from '../dialect.ts';
import type { Span } from '../source.ts';
import type { ConfigObject } from '../typed-configuration.ts';
import type { Structure } from './structure.ts';

/** A mention inside carried text that must read otherwise on the target. */
export interface Mention {
  readonly place: Span;
  /** As written in the source, and as it must be written. */
  readonly from: string;
  readonly to: string;
}

/** One change of the target. Objects are the source's, `there` and `beside` the target's. */
export type WriteStep =
  /** A new object without order; `whole`: with its contents. `name` is its own name there. */
  | { readonly do: 'add'; readonly object: ConfigObject; readonly name: string; readonly whole: boolean }
  /** A member of an ordered list, before the member `index` of the target's list (its length: behind the last). */
  | {
      readonly do: 'insert';
      readonly object: ConfigObject;
      readonly index: number;
      /** Its comment or name there. */
      readonly name: string | null;
    }
  /** Ours in place of theirs, with contents where `whole`. */
  | {
      readonly do: 'replace';
      readonly object: ConfigObject;
      readonly there: ConfigObject;
      readonly whole: boolean;
    };

export interface WriteJob {
  readonly source: Structure;
  readonly target: Structure;
  /** What a step needs was made by an earlier one. Inserts at one place are in their order. */
  readonly steps: readonly WriteStep[];
  /** Mentions inside an object's text that change. */
  mentionsIn(object: ConfigObject): readonly Mention[];
}

/** Turns a planned graft into the smallest edits of the target's files. One per configuration language. */
export interface GraftWriter {
  /**
   * Edits of the target's files; what they do not touch stays byte for byte.
   * @throws TuckpointError `dialects/cannot-write`, with the place, for what cannot be written here.
   */
  write(job: WriteJob): readonly Edit[];
}
