import { isNode, LineCounter, parseDocument } from 'yaml';
import type { SourceFile } from '#core/config';
import { type Place, TuckpointError } from '#core/errors';
import { type Mapping, mappingSchema } from './schema.ts';

/** A mapping file above this size is a mistake. */
const LARGEST_MAPPING = 1024 * 1024;

/** Something wrong in a mapping file. */
export interface Mistake {
  readonly place: Place;
  readonly message: string;
}

/** Reads a mapping file and names every mistake in it, first to last. */
export function checkMapping(file: SourceFile): {
  readonly mapping: Mapping | null;
  readonly mistakes: readonly Mistake[];
} {
  if (file.text.length > LARGEST_MAPPING) {
    return {
      mapping: null,
      mistakes: [
        { place: { file: file.name }, message: `A mapping file has at most ${LARGEST_MAPPING} characters` },
      ],
    };
  }
  const counter = new LineCounter();
  const document = parseDocument(file.text, { lineCounter: counter, uniqueKeys: true, prettyErrors: false });
  const lineOf = (offset: number) => Math.max(1, counter.linePos(offset).line);
  if (document.errors.length > 0) {
    const mistakes = document.errors.map((error) => ({
      place: { file: file.name, line: lineOf(error.pos[0]) },
      message: `This is not YAML: ${error.message.split('\n')[0]!.replace(/[.:]$/, '')}`,
    }));
    return { mapping: null, mistakes };
  }
  let value: unknown;
  try {
    value = document.toJS({ maxAliasCount: 50 });
  } catch (error) {
    return {
      mapping: null,
      mistakes: [
        {
          place: { file: file.name, line: 1 },
          message: `This YAML cannot be read: ${(error as Error).message}`,
        },
      ],
    };
  }
  const result = mappingSchema.safeParse(value);
  if (result.success) return { mapping: result.data, mistakes: [] };

  const mistakes = result.error.issues
    .flatMap((issue) => leavesOf(issue))
    .map(({ path, message, keys }): Mistake => {
      const line = lineAt(document, keys === undefined ? path : [...path, keys[0]!], lineOf);
      const field = path.map(String).join('.');
      return {
        place: { file: file.name, line, ...(field === '' ? {} : { field }) },
        message: message.replace(/\.$/, ''),
      };
    });
  return { mapping: null, mistakes: mistakes.sort((a, b) => (a.place.line ?? 0) - (b.place.line ?? 0)) };
}

interface Issue {
  readonly path: readonly PropertyKey[];
  readonly message: string;
  readonly keys?: readonly string[];
}

/** A field may be text or an object: of the two readings, the one that fits the kind of the value tells the mistake. */
function leavesOf(issue: {
  code?: string;
  path: PropertyKey[];
  message: string;
  keys?: string[];
  errors?: unknown;
}): Issue[] {
  if (issue.code !== 'invalid_union' || !Array.isArray(issue.errors)) return [issue];
  const branches = issue.errors as {
    code?: string;
    path: PropertyKey[];
    message: string;
    keys?: string[];
    errors?: unknown;
  }[][];
  const fitting = branches.find(
    (branch) => !branch.some(({ code, path }) => code === 'invalid_type' && path.length === 0),
  );
  if (fitting === undefined)
    return [{ path: issue.path, message: 'This must be a path, or an object with take' }];
  return fitting.flatMap((inner) => leavesOf({ ...inner, path: [...issue.path, ...inner.path] }));
}

/** The line of the deepest part of a path that exists in the document. */
function lineAt(
  document: ReturnType<typeof parseDocument>,
  path: readonly PropertyKey[],
  lineOf: (offset: number) => number,
): number {
  for (let depth = path.length; depth > 0; depth--) {
    const holder = depth === 1 ? document.contents : document.getIn(path.slice(0, depth - 1), true);
    const pairs = (holder as { items?: unknown[] } | null)?.items ?? [];
    const last = path[depth - 1];
    const pair = pairs.find(
      (item) => (item as { key?: { value?: unknown; range?: number[] } } | null)?.key?.value === last,
    ) as { key: { range?: number[] } } | undefined;
    if (pair?.key.range !== undefined) return lineOf(pair.key.range[0]!);
    const node = document.getIn(path.slice(0, depth), true);
    if (isNode(node) && node.range != null) return lineOf(node.range[0]);
  }
  return 1;
}

/**
 * Reads a mapping file.
 * @throws TuckpointError `dialects/mapping`: the first mistake with its line, and how many more there are.
 */
export function readMapping(file: SourceFile): Mapping {
  const { mapping, mistakes } = checkMapping(file);
  if (mapping !== null) return mapping;
  const [first] = mistakes;
  const more = mistakes.length - 1;
  throw new TuckpointError('dialects/mapping', `${first!.message}.`, {
    place: first!.place,
    ...(more === 0
      ? {}
      : { advice: `${more} more ${more === 1 ? 'mistake follows' : 'mistakes follow'} in this file.` }),
  });
}
