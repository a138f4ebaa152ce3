import type { Dialect, SourceFile, TypedConfiguration } from '#core/config';
import { TuckpointError } from '#core/errors';
import type { Policy } from '#core/traffic';
import { dialects } from './registry.ts';
import { decode } from './source/index.ts';

/** A file is only given to a dialect that is at least this sure of it. */
const SURE = 0.3;

/** The files of a capture that one dialect read. */
export interface CapturePart {
  readonly dialect: Dialect;
  readonly files: readonly SourceFile[];
  readonly configuration: TypedConfiguration;
}

/** A capture, read as far as dialects go; what none of them reads is named with the reason. */
export interface ReadCapture {
  readonly parts: readonly CapturePart[];
  readonly unread: readonly UnreadFile[];
}

export interface UnreadFile {
  readonly name: string;
  readonly why: string;
  /** Why its bytes are no text; null for a text that no dialect recognises. */
  readonly refusal: TuckpointError | null;
  /** Null where its bytes are no text. */
  readonly source: SourceFile | null;
}

/**
 * Gives each file of a capture to the dialect that recognises it best, and reads the files of one dialect together.
 * With `only`, every text file is read by that dialect; `taught` are dialects of mapping files, asked besides.
 * @throws TuckpointError `dialects/…` with file and line, when a file that a dialect recognises cannot be read.
 */
export function readCapture(
  files: readonly { readonly name: string; readonly bytes: Uint8Array }[],
  { only, taught = [] }: { readonly only?: Dialect | undefined; readonly taught?: readonly Dialect[] } = {},
): ReadCapture {
  const groups = new Map<Dialect, SourceFile[]>();
  const unread: UnreadFile[] = [];
  for (const { name, bytes } of files) {
    const source = textOf(name, bytes);
    if (source instanceof TuckpointError) {
      unread.push({ name, why: source.message, refusal: source, source: null });
      continue;
    }
    const dialect = only ?? bestFor(source, [...taught, ...dialects]);
    if (dialect === null) unread.push({ name, why: 'no dialect recognises it', refusal: null, source });
    else groups.set(dialect, [...(groups.get(dialect) ?? []), source]);
  }
  const parts = [...groups].map(([dialect, own]) => ({
    dialect,
    files: own,
    configuration: dialect.read(own),
  }));
  return { parts, unread };
}

/**
 * The packet policy of a capture, and the names of the files it was read from; null when no part carries one.
 * @throws TuckpointError `dialects/two-policies` when files of two languages carry one each: which of them the device
 *   applies first is not known from the files.
 */
export function policyOfCapture(capture: ReadCapture): { policy: Policy; files: readonly string[] } | null {
  const found = capture.parts.flatMap((part) => {
    const policy = part.dialect.policy(part.configuration);
    return policy === null
      ? []
      : [{ policy, dialect: part.dialect.name, files: part.files.map((f) => f.name) }];
  });
  if (found.length > 1) {
    throw new TuckpointError(
      'dialects/two-policies',
      `The capture holds packet rules in two languages (${found.map((f) => `${f.dialect}: ${f.files.join(', ')}`).join('; ')}).`,
      { advice: 'Name the one to compare with --dialect.' },
    );
  }
  return found[0] ?? null;
}

function bestFor(file: SourceFile, among: readonly Dialect[]): Dialect | null {
  let best: Dialect | null = null;
  let surest = 0;
  for (const dialect of among) {
    const sure = dialect.recognises(file);
    if (sure >= SURE && sure > surest) {
      best = dialect;
      surest = sure;
    }
  }
  return best;
}

/** The text of a file, or why it has none. */
function textOf(name: string, bytes: Uint8Array): SourceFile | TuckpointError {
  try {
    return decode(name, bytes);
  } catch (error) {
    if (error instanceof TuckpointError) return error;
    throw error;
  }
}
