import { type Document, isMap, isNode, isScalar, LineCounter, parseDocument } from 'yaml';
import type { z } from 'zod';
import type { Place } from '#core/errors';

/** Something wrong in a document: one sentence, and where. */
export interface Mistake {
  readonly message: string;
  readonly place: Place;
}

/** A document of this many characters is a mistake in itself. */
const LARGEST = 4 * 1024 * 1024;

/**
 * Reads a YAML (or JSON) document against a schema: its value, or every mistake in the order of the file.
 * `file` is its name as the user knows it. YAML aliases are limited, so a small file cannot grow large.
 */
export function readDocument<T>(
  text: string,
  file: string,
  schema: z.ZodType<T>,
): { readonly value: T } | { readonly mistakes: readonly [Mistake, ...Mistake[]] } {
  if (text.length > LARGEST) {
    return { mistakes: [{ message: `The file has more than ${LARGEST} characters.`, place: { file } }] };
  }
  const counter = new LineCounter();
  const document = parseDocument(text, { lineCounter: counter, prettyErrors: false, logLevel: 'error' });
  const placeAt = (offset: number): Place => {
    const { line, col } = counter.linePos(offset);
    return { file, line: Math.max(1, line), column: Math.max(1, col) };
  };
  // One slip makes a parser stumble many times: only the first tells the reader something.
  const broken = document.errors[0];
  if (broken !== undefined) {
    return {
      mistakes: [
        {
          message: `This is not YAML: ${sentence(broken.message.split('\n')[0] ?? '')}`,
          place: placeAt(broken.pos[0]),
        },
      ],
    };
  }
  let value: unknown;
  try {
    value = document.toJS({ maxAliasCount: 50 });
  } catch {
    // The only thing that fails here: aliases of aliases.
    return {
      mistakes: [{ message: 'The aliases in this YAML stand for too many values.', place: placeAt(0) }],
    };
  }
  const parsed = schema.safeParse(value);
  if (parsed.success) return { value: parsed.data };
  const found = parsed.error.issues.flatMap(leavesOf).map((issue): Mistake => {
    const field = fieldOf(issue.path);
    const place = placeAt(offsetOf(document, issue));
    return { message: messageOf(issue, value), place: field === '' ? place : { ...place, field } };
  });
  const [first, ...rest] = found.sort((a, b) => (a.place.line ?? 0) - (b.place.line ?? 0));
  if (first === undefined) throw new Error('A schema refused a document without an issue.');
  return { mistakes: [first, ...rest] };
}

/** Where a value may be of several kinds, the reading that fits the kind of the value tells the mistake. */
function leavesOf(issue: z.core.$ZodIssue): z.core.$ZodIssue[] {
  if (issue.code !== 'invalid_union') return [issue];
  const fitting = issue.errors.find(
    (branch) => !branch.some(({ code, path }) => path.length === 0 && /^invalid_(type|value)$/u.test(code)),
  );
  return fitting === undefined
    ? [issue]
    : fitting.flatMap((inner) => leavesOf({ ...inner, path: [...issue.path, ...inner.path] }));
}

/** What a message quotes from the file may be long, and of several lines. */
const LONGEST = 240;

function sentence(text: string): string {
  const all = text
    .split(/\s*\n\s*/u)
    .join(' ')
    .trim();
  const line = all.length > LONGEST ? `${all.slice(0, LONGEST)} …` : all;
  return /[.?!]$/u.test(line) ? line : `${line}.`;
}

function messageOf(issue: z.core.$ZodIssue, document: unknown): string {
  const isMissing = issue.code === 'invalid_type' || issue.code === 'invalid_union';
  if (isMissing && valueAt(document, issue.path) === undefined)
    return `"${String(issue.path.at(-1) ?? 'the document')}" is missing here.`;
  return sentence(issue.message);
}

function valueAt(document: unknown, path: readonly PropertyKey[]): unknown {
  return path.reduce<unknown>(
    (value, part) =>
      typeof value === 'object' && value !== null
        ? Object.getOwnPropertyDescriptor(value, part)?.value
        : undefined,
    document,
  );
}

/** The path as a reader writes it: `actions.slots.steps[0].each`. */
function fieldOf(path: readonly PropertyKey[]): string {
  return path.reduce<string>(
    (text, part) =>
      typeof part === 'number' ? `${text}[${part}]` : `${text}${text === '' ? '' : '.'}${String(part)}`,
    '',
  );
}

/** Where in the text the issue stands: its value, the unknown key itself, or the nearest part that exists. */
function offsetOf(document: Document, issue: z.core.$ZodIssue): number {
  for (let depth = issue.path.length; depth >= 0; depth--) {
    const path = issue.path.slice(0, depth) as (string | number)[];
    const node: unknown = depth === 0 ? document.contents : document.getIn(path, true);
    if (!isNode(node)) continue;
    if (depth === issue.path.length && issue.code === 'unrecognized_keys' && isMap(node)) {
      const key = node.items.find((item) => isScalar(item.key) && item.key.value === issue.keys[0])?.key;
      if (isScalar(key) && key.range) return key.range[0];
    }
    if (node.range) return node.range[0];
  }
  return 0;
}
