import type { Value } from '../typed-configuration.ts';

/** A mention's text before and after, such as `@harbours` and `@harbours_grafted`. */
export interface Renaming {
  readonly from: string;
  readonly to: string;
}

/** A value with mentions by their new names. Only whole words count, so `web` in `web-2` stays. */
export function renamedValue(value: Value, renamings: readonly Renaming[]): Value {
  if (renamings.length === 0) return value;
  const names = new Map(renamings.map(({ from, to }) => [from, to]));
  const words = [...names.keys()].sort((a, b) => b.length - a.length).map(escaped);
  const pattern = new RegExp(`(?<![\\w@$./-])(?:${words.join('|')})(?![\\w./-])`, 'g');
  const visit = (part: Value): Value => {
    if (typeof part === 'string') return part.replace(pattern, (word) => names.get(word) ?? word);
    if (part === null || typeof part !== 'object') return part;
    if (Array.isArray(part)) return inOrder(part, part.map(visit));
    return Object.fromEntries(Object.entries(part).map(([field, inner]) => [field, visit(inner)]));
  };
  return visit(value);
}

/** Readers sort names whose order means nothing: with other names among them they come to stand otherwise. */
function inOrder(before: readonly Value[], after: readonly Value[]): readonly Value[] {
  const isSorted = before.every(
    (one, i) => typeof one === 'string' && !/\s/u.test(one) && (i === 0 || (before[i - 1] as string) <= one),
  );
  return isSorted && after.some((one, i) => one !== before[i]) ? ([...after] as string[]).sort() : after;
}

export function escaped(text: string): string {
  return text.replace(/[.*+?^${}()|[\]\\/-]/g, '\\$&');
}

/** A mention with the new name behind its sign: `@harbours` becomes `@harbours_grafted`. */
export function renamedMention(text: string, { from, to }: Renaming): string {
  return text.endsWith(from) ? text.slice(0, text.length - from.length) + to : text;
}
