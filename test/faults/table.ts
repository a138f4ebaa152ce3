/** A table in plain text under its title; empty cells stay empty. */
export function faultTable(
  title: string,
  head: readonly string[],
  rows: readonly (readonly string[])[],
): string[] {
  const widths = head.map((_, i) => Math.max(...[head, ...rows].map((row) => (row[i] ?? '').length)));
  const line = (row: readonly string[]) =>
    row
      .map((cell, i) => cell.padEnd(widths[i] ?? 0))
      .join('  ')
      .trimEnd();
  return ['', title, line(head), ...rows.map(line)];
}
