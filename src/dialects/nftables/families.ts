import { type Cursor, NotUnderstood } from './cursor.ts';

export const FAMILIES: ReadonlySet<string> = new Set(['ip', 'ip6', 'inet', 'arp', 'bridge', 'netdev']);

/** `[family] name`; the family is `ip` when not said. */
export function takeTableName(cursor: Cursor): [string, string] {
  const first = cursor.take();
  return FAMILIES.has(first) && cursor.isWord() ? [first, cursor.take()] : ['ip', first];
}

/** The same after the word `table`, where two words that do not begin with a family are a mistake. */
export function takeNewTable(cursor: Cursor): [string, string] {
  const word = cursor.isWord() ? cursor.word() : '';
  const found = takeTableName(cursor);
  if (cursor.isWord()) throw new NotUnderstood(`the family "${word}" is not known`);
  return found;
}
