import type { Mistake } from './read-document.ts';

/** One row of a table, by column. `line` counts from 1. */
export interface TableRow {
  readonly line: number;
  readonly cells: readonly string[];
}

/**
 * Reads comma-separated values as RFC 4180 section 2 has them: quotes around fields with commas, quotes or line
 * breaks; a quote inside is written twice. The first row is the heading, and every row has as many fields.
 */
export function readTable(
  text: string,
  file: string,
):
  | { readonly heading: TableRow; readonly rows: readonly TableRow[] }
  | { readonly mistakes: readonly [Mistake, ...Mistake[]] } {
  const rows: TableRow[] = [];
  const field = /(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r?\n|$)/y;
  let line = 1;
  let row: { line: number; cells: string[] } = { line, cells: [] };
  const source = text.replace(/^\uFEFF/, '');
  field.lastIndex = 0;
  while (field.lastIndex < source.length || row.cells.length > 0) {
    const found = field.exec(source);
    if (found === null)
      return {
        mistakes: [{ message: 'A quote stands where none can, or is not closed.', place: { file, line } }],
      };
    const [whole, quoted, plain = '', end] = found;
    row.cells.push(quoted === undefined ? plain.trim() : quoted.replaceAll('""', '"'));
    line += whole.split('\n').length - 1;
    if (end === ',') continue;
    if (row.cells.some((cell) => cell !== '')) rows.push(row);
    row = { line, cells: [] };
  }
  const [heading, ...rest] = rows;
  if (heading === undefined)
    return { mistakes: [{ message: 'The table is empty.', place: { file, line: 1 } }] };
  const odd = rest
    .filter(({ cells }) => cells.length !== heading.cells.length)
    .map((one) => ({
      message: `The row has ${one.cells.length} fields, the heading ${heading.cells.length}.`,
      place: { file, line: one.line },
    }));
  const [first, ...more] = odd;
  return first === undefined ? { heading, rows: rest } : { mistakes: [first, ...more] };
}
