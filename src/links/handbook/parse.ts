import { type Document, isMap, isScalar, LineCounter, type Node, parseDocument } from 'yaml';
import type { z } from 'zod';
import { TuckpointError } from '#core/errors';
import { type Handbook, handbookSchema } from './schema.ts';

/** A handbook that cannot be used; `mistakes` holds every one that was found, in the order of the file. */
export class HandbookError extends TuckpointError<'links/handbook'> {
  readonly mistakes: readonly TuckpointError<'links/handbook'>[];

  constructor(mistakes: readonly TuckpointError<'links/handbook'>[]) {
    const first = mistakes[0]!;
    const alone = mistakes.length === 1;
    const file = first.place?.file;
    super(
      'links/handbook',
      alone
        ? first.message
        : `The handbook has ${mistakes.length} mistakes:\n${mistakes.map((mistake) => `  ${mistake.text}`).join('\n')}`,
      alone && first.place !== undefined
        ? { place: first.place }
        : file === undefined
          ? {}
          : { place: { file } },
    );
    this.mistakes = mistakes;
  }
}

/**
 * Reads a handbook. `file` is its name as the user knows it.
 *
 * @throws HandbookError with all mistakes, each with file, line and field.
 */
export function parseHandbook(text: string, file: string): Handbook {
  const counter = new LineCounter();
  const document = parseDocument(text, { lineCounter: counter, prettyErrors: false });
  // One slip makes a parser stumble many times: only the first tells the reader something.
  const broken = document.errors[0];
  if (broken !== undefined) {
    const { line, col } = counter.linePos(broken.pos[0]);
    throw new HandbookError([
      new TuckpointError('links/handbook', `This is not YAML: ${sentence(broken.message)}`, {
        place: { file, line, column: col },
        advice: "A value that holds any of : # { } [ ] , must stand in 'single quotes'.",
      }),
    ]);
  }
  const parsed = handbookSchema.safeParse(plainValue(document, file));
  if (parsed.success) return parsed.data;

  const mistakes = parsed.error.issues.map((issue) => {
    const { path, message } = described(issue);
    const { line, col } = counter.linePos(offsetOf(document, issue));
    return new TuckpointError('links/handbook', message, { place: { file, line, column: col, field: path } });
  });
  mistakes.sort((a, b) => (a.place?.line ?? 0) - (b.place?.line ?? 0));
  throw new HandbookError(mistakes);
}

/** Aliases that blow up are refused by the reader: a small file may otherwise stand for gigabytes. */
function plainValue(document: Document, file: string): unknown {
  try {
    return document.toJS({ maxAliasCount: 100 });
  } catch (cause) {
    throw new HandbookError([
      new TuckpointError('links/handbook', 'Its aliases (*name) expand to too much.', {
        place: { file },
        cause,
      }),
    ]);
  }
}

function sentence(text: string): string {
  const line = text.split('\n')[0]!.trim();
  return /[.?!]$/u.test(line) ? line : `${line}.`;
}

/** The path as a reader writes it (`actions.slots.steps[0].each`) and the message as one sentence. */
function described(issue: z.core.$ZodIssue): { path: string; message: string } {
  const path = issue.path.reduce<string>(
    (text, part) =>
      typeof part === 'number' ? `${text}[${part}]` : `${text}${text === '' ? '' : '.'}${String(part)}`,
    '',
  );
  if (issue.code === 'invalid_type' && issue.message.includes('received undefined'))
    return { path, message: `"${String(issue.path.at(-1) ?? 'handbook')}" is missing here.` };
  return { path, message: sentence(issue.message) };
}

/** Where in the text the issue stands: its value, the unknown key itself, or the nearest part that exists. */
function offsetOf(document: Document, issue: z.core.$ZodIssue): number {
  for (let depth = issue.path.length; depth >= 0; depth--) {
    const path = issue.path.slice(0, depth) as (string | number)[];
    const node = (depth === 0 ? document.contents : document.getIn(path, true)) as Node | null | undefined;
    if (node === undefined || node === null) continue;
    if (depth === issue.path.length && issue.code === 'unrecognized_keys' && isMap(node)) {
      const key = node.items.find((item) => isScalar(item.key) && item.key.value === issue.keys[0])?.key;
      if (isScalar(key) && key.range) return key.range[0];
    }
    if (node.range) return node.range[0];
  }
  return 0;
}
