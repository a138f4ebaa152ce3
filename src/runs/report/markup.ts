import { visible } from './visible.ts';

/** A piece of HTML that was written here, as against text that came from elsewhere. */
export class Markup {
  readonly source: string;

  constructor(source: string) {
    this.source = source;
  }
}

export type Content = Markup | string | number | null | readonly Content[];

/**
 * Writes HTML from a template. Whatever is put in is escaped, unless it is Markup itself; lists are joined, null is
 * nothing. In attributes put values in double quotes.
 */
export function html(strings: TemplateStringsArray, ...values: readonly Content[]): Markup {
  const parts = strings.map((part, i) => (i < values.length ? part + sourceOf(values[i]!) : part));
  return new Markup(parts.join(''));
}

/** Text made safe for HTML, in content and in quoted attributes; hidden and steering characters become visible. */
function escaped(text: string): string {
  return visible(text).replace(/[&<>"']/g, (character) => `&#${character.charCodeAt(0)};`);
}

function sourceOf(value: Content): string {
  if (value === null) return '';
  if (value instanceof Markup) return value.source;
  if (typeof value === 'string' || typeof value === 'number') return escaped(`${value}`);
  return value.map(sourceOf).join('');
}
