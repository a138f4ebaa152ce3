import type { SourceFile, Span } from '#core/config';
import { Lines } from '#dialects/source';

/** A line of an interfaces file, continuation lines joined: its first word and the rest. */
export interface InterfacesLine {
  readonly word: string;
  readonly rest: string;
  readonly place: Span;
}

/** A stanza: its head line and the option lines below it (interfaces(5), FILE FORMAT). */
export interface Stanza {
  readonly head: InterfacesLine;
  readonly options: readonly InterfacesLine[];
  readonly place: Span;
}

/** Words that begin a stanza; every other word is an option of the stanza above. */
const HEAD =
  /^(?:iface|mapping|auto|allow-[\w-]+|no-auto-down|no-scripts|rename|source|source-directory|template)$/;

/** Splits an interfaces file into stanzas. Options before the first stanza come under a head of their own. */
export function stanzasOf(file: SourceFile): Stanza[] {
  const lines = new Lines(file);
  const stanzas: { head: InterfacesLine; options: InterfacesLine[] }[] = [];
  for (const line of joinedLines(lines)) {
    if (HEAD.test(line.word) || stanzas.length === 0) stanzas.push({ head: line, options: [] });
    else stanzas.at(-1)!.options.push(line);
  }
  return stanzas.map(({ head, options }) => ({
    head,
    options,
    place: lines.span(head.place.start, (options.at(-1) ?? head).place.end),
  }));
}

function* joinedLines(lines: Lines): Generator<InterfacesLine> {
  const { text } = lines;
  for (let at = 0; at < text.length; ) {
    const start = at;
    let end = endOfLine(text, at);
    while (text[end - 1] === '\\' && end < text.length) end = endOfLine(text, end + 1);
    at = end + 1;
    const raw = text.slice(start, end);
    const content = raw
      .replace(/\\\r?\n/g, ' ')
      .replace(/^\ufeff/, '')
      .trim();
    if (content === '' || content.startsWith('#')) continue;
    const ink = start + raw.search(/[^\s\ufeff]/);
    const [, word, rest] = /^(\S+)\s*([\s\S]*)$/.exec(content)!;
    yield { word: word!, rest: rest!, place: lines.span(ink, start + raw.trimEnd().length) };
  }
}

/** Index of the line break (or the end of the text) that ends the line at `from`; a carriage return counts to the break. */
function endOfLine(text: string, from: number): number {
  const newline = text.indexOf('\n', from);
  return newline === -1 ? text.length : newline;
}
