import type { Mention, SourceFile, Span } from '#core/config';

/** The text of a stretch with its mentions by their new names; mentions outside it count for nothing. */
export function carriedText(files: readonly SourceFile[], place: Span, mentions: readonly Mention[]): string {
  const file = files.find(({ name }) => name === place.file);
  if (file === undefined) return '';
  const inside = mentions
    .filter((m) => m.place.file === place.file && m.place.start >= place.start && m.place.end <= place.end)
    .sort((a, b) => a.place.start - b.place.start);
  let text = '';
  let done = place.start;
  for (const { place: at, from, to } of inside) {
    if (at.start < done) continue;
    const written = file.text.slice(at.start, at.end);
    // A mention may reach over more than the name: `jump harbour`.
    const found = written.lastIndexOf(from);
    text += file.text.slice(done, at.start);
    text += found < 0 ? written : written.slice(0, found) + to + written.slice(found + from.length);
    done = at.end;
  }
  return text + file.text.slice(done, place.end);
}
