export function lineStart(text: string, at: number): number {
  return text.lastIndexOf('\n', at - 1) + 1;
}

/** The end of the line, before its line feed. */
export function lineEnd(text: string, at: number): number {
  const found = text.indexOf('\n', at);
  const end = found < 0 ? text.length : found;
  return text[end - 1] === '\r' && end > at ? end - 1 : end;
}

/** Blanks at the beginning of the line. */
export function indentAt(text: string, at: number): string {
  return /^[ \t]*/.exec(text.slice(lineStart(text, at)))![0];
}

export function newlineOf(text: string): string {
  return text.includes('\r\n') ? '\r\n' : '\n';
}

/** A text that began behind `from` blanks, with `to` before every line but the first. */
export function indented(text: string, from: string, to: string, newline = '\n'): string {
  return text
    .split(/\r?\n/)
    .map((line, i) =>
      i === 0 || line.trim() === ''
        ? line
        : to + (line.startsWith(from) ? line.slice(from.length) : line.trimStart()),
    )
    .join(newline);
}
