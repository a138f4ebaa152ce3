import { z } from 'zod';

/**
 * The lines of the manifest. `seq` counts from 1 without gaps; `stored` is the workbench's clock when the line was
 * written (RFC 3339, UTC). Nothing is ever taken out of the manifest: a deletion is a line of its own.
 */
const line = { seq: z.int().positive(), stored: z.iso.datetime({ offset: true }) };
const hex = z.string().regex(/^[0-9a-f]{64}$/);

/** A file of the archive folder that holds captures, and the SHA-256 of its (encrypted) bytes. */
const container = z.object({ file: z.string(), size: z.int().nonnegative(), sha256: hex });
export type Container = z.infer<typeof container>;

const taken = {
  id: z.string(),
  device: z.string(),
  at: z.string(),
  source: z.enum(['run', 'round', 'delivery', 'import', 'unplanned']),
  release: z.string().nullable(),
  slot: z.string().nullable(),
  run: z.string().nullable(),
};

const files = z.array(z.object({ name: z.string(), size: z.int().nonnegative(), sha256: hex })).min(1);

/** `capture.json` beside the files of a capture: what is known of it. */
export const recordSchema = z.object({ ...taken, digest: hex, files });

export const entrySchema = z.discriminatedUnion('kind', [
  /** The first line. `recipient` is the age recipient of the data key, `verifying` the Ed25519 key of the manifest. */
  z.object({ ...line, kind: z.literal('begun'), archive: z.string(), recipient: z.string(), verifying: hex }),
  /** A capture with its own bytes in `in`. `found`: its first line was lost, and it was taken in again by `reindex`. */
  z.object({
    ...line,
    kind: z.literal('capture'),
    ...taken,
    files,
    in: container,
    found: z.literal(true).optional(),
  }),
  /** A capture whose files are those of the earlier capture `as` of the same device, byte for byte. */
  z.object({ ...line, kind: z.literal('same'), ...taken, as: z.string() }),
  /** The captures `adds`, and those of the pack `replaces`, are now in one pack. `raw` is the size of its tar. */
  z.object({
    ...line,
    kind: z.literal('packed'),
    device: z.string(),
    in: container,
    raw: z.int().nonnegative(),
    adds: z.array(z.string()),
    replaces: z.string().nullable(),
  }),
  /** A container encrypted for another key: same content, other file. */
  z.object({ ...line, kind: z.literal('rewrapped'), from: z.string(), in: container }),
  /** Captures deleted, with the reason given. */
  z.object({ ...line, kind: z.literal('deleted'), ids: z.array(z.string()).min(1), why: z.string() }),
  /** A capture named by the user (never deleted by a rule), or its name taken away (null). */
  z.object({ ...line, kind: z.literal('named'), id: z.string(), name: z.string().nullable() }),
  /** What was proven of captures. `ids` null: of all that the archive held. */
  z.object({
    ...line,
    kind: z.literal('proven'),
    what: z.enum(['verified', 'rehearsed', 'restored']),
    ids: z.array(z.string()).nullable(),
    how: z.string(),
  }),
  /** Something was wrong with the lines before this one, and was seen. */
  z.object({ ...line, kind: z.literal('noticed'), what: z.array(z.string()) }),
]);

export type Entry = z.infer<typeof entrySchema>;
export type EntryOf<Kind extends Entry['kind']> = Extract<Entry, { kind: Kind }>;
/** An entry before it has its place in the manifest. */
export type NewEntry = Entry extends infer E ? (E extends Entry ? Omit<E, 'seq' | 'stored'> : never) : never;
export type Proof = EntryOf<'proven'>['what'];
