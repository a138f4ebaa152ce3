import { firstMatch, linesOf, type Pattern } from '../handbook/index.ts';

/** The device's words of a refusal: of the first line that a pattern matches; null when none does. */
export function refusalIn(output: string, patterns: readonly Pattern[]): string | null {
  const lines = linesOf(output);
  for (const pattern of patterns) {
    const found = firstMatch(lines, pattern);
    if (found !== null) return (found.match.groups?.reason ?? found.match[0]).trim();
  }
  return null;
}

/** What a command that failed said last: the last line that is not blank, at most 200 characters of it. */
export function lastWords(...outputs: readonly string[]): string | null {
  for (const output of outputs) {
    const line = linesOf(output).findLast((text) => text.trim() !== '');
    if (line !== undefined) return line.trim().slice(0, 200);
  }
  return null;
}
