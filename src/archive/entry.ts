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

export const entrySchema = z.discriminatedUnion('kind', [
  /** The first line. `recipient` is the age recipient of the data key, `verifying` the Ed25519 key of the manifest. */
  z.object({ ...line, kind: z.literal('begun'), archive: z.string(), recipient: z.string(), verifying: hex }),
  /** A capture with its own bytes in `in`. */
  z.object({
    ...line,
    kind: z.literal('capture'),
    ...taken,
    files: z.array(z.object({ name: z.string(), size: z.int().nonnegative(), sha256: hex })).min(1),
    in: container,
  }),
  /** A capture whose files are those of the earlier capture `as` of the same device, byte for byte. */
  z.object({ ...line, kind: z.literal('same'), ...taken, as: z.string() }),
]);

export type Entry = z.infer<typeof entrySchema>;
export type EntryOf<Kind extends Entry['kind']> = Extract<Entry, { kind: Kind }>;
/** An entry before it has its place in the manifest. */
export type NewEntry = Entry extends infer E ? (E extends Entry ? Omit<E, 'seq' | 'stored'> : never) : never;
