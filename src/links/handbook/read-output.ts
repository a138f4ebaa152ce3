import { matchedValue, type Pattern } from './pattern.ts';

/** What one pattern found. `line` counts from 1 and is null where the pattern matched nothing. */
export interface Match {
  readonly field: string;
  readonly pattern: string;
  readonly line: number | null;
  readonly text: string;
  readonly value: string | null;
}

/** The lines of an output, without their ends; an unfinished last line counts, an empty one does not. */
export function linesOf(output: string): string[] {
  const lines = output.split(/\r?\n/u);
  if (lines.at(-1) === '') lines.pop();
  return lines;
}

export interface FieldsRead {
  readonly values: Readonly<Record<string, string>>;
  readonly matches: readonly Match[];
}

/** Reads single values: each pattern takes the first line that it matches. Fields without a match are absent. */
export function readFields(
  output: string,
  patterns: Readonly<Record<string, Pattern | undefined>>,
): FieldsRead {
  const lines = linesOf(output);
  const values: Record<string, string> = {};
  const matches: Match[] = [];
  for (const [field, pattern] of Object.entries(patterns)) {
    if (pattern === undefined) continue;
    const found = firstMatch(lines, pattern);
    if (found !== null) values[field] = matchedValue(found.match).trim();
    matches.push({
      field,
      pattern: pattern.source,
      line: found === null ? null : found.at + 1,
      text: found === null ? '' : lines[found.at]!,
      value: values[field] ?? null,
    });
  }
  return { values, matches };
}

export function firstMatch(
  lines: readonly string[],
  pattern: Pattern,
): { readonly at: number; readonly match: RegExpExecArray } | null {
  for (const [at, line] of lines.entries()) {
    const match = pattern.regex.exec(line);
    if (match !== null) return { at, match };
  }
  return null;
}

export interface Row {
  /** Named groups that matched; without named groups one entry `value`. */
  readonly groups: Readonly<Record<string, string>>;
}

export interface RowsRead {
  readonly rows: readonly Row[];
  readonly matches: readonly Match[];
}

/** Reads a list: one row per line that `each` matches, or per record where `record` marks the lines that begin one. */
export function readRows(output: string, each: Pattern, record?: Pattern): RowsRead {
  const rows: Row[] = [];
  const matches: Match[] = [];
  for (const part of partsOf(linesOf(output), record)) {
    const match = each.regex.exec(part.text);
    if (match === null) continue;
    const named = Object.entries(match.groups ?? {}).filter(
      (entry): entry is [string, string] => entry[1] !== undefined,
    );
    const groups = match.groups === undefined ? { value: matchedValue(match) } : Object.fromEntries(named);
    rows.push({ groups });
    const value = Object.entries(groups)
      .map(([name, text]) => `${name}=${text.trim()}`)
      .join(' ');
    matches.push({ field: 'each', pattern: each.source, line: part.line, text: part.text, value });
  }
  if (rows.length === 0)
    matches.push({ field: 'each', pattern: each.source, line: null, text: '', value: null });
  return { rows, matches };
}

/** Single lines, or records of lines; what stands before the first record belongs to none. */
function partsOf(lines: readonly string[], record: Pattern | undefined): { line: number; text: string }[] {
  if (record === undefined) return lines.map((text, at) => ({ line: at + 1, text }));
  const parts: { line: number; text: string }[] = [];
  for (const [at, text] of lines.entries()) {
    if (record.regex.test(text)) parts.push({ line: at + 1, text });
    else if (parts.length > 0) parts.at(-1)!.text += `\n${text}`;
  }
  return parts;
}

/** Cuts an output into files: one begins after each line that `split` matches and is named by its group `name`. */
export function splitFiles(
  output: string,
  split: Pattern,
): { readonly name: string; readonly text: string }[] {
  const files: { name: string; text: string }[] = [];
  for (const line of linesOf(output)) {
    const match = split.regex.exec(line);
    if (match !== null) files.push({ name: match.groups!.name ?? '', text: '' });
    else if (files.length > 0) files.at(-1)!.text += `${line}\n`;
  }
  return files;
}
