import { type Cursor, NotUnderstood } from './cursor.ts';

export const FAMILIES: ReadonlySet<string> = new Set(['ip', 'ip6', 'inet', 'arp', 'bridge', 'netdev']);

/** `[family] name`; the family is `ip` when not said. */
export function takeTableName(cursor: Cursor): [string, string] {
  const first = cursor.take();
  if (FAMILIES.has(first) && cursor.isWord()) return [first, cursor.take()];
  if (cursor.isWord() && cursor.kind(1) === 123)
    throw new NotUnderstood(`the family "${first}" is not known`);
  return ['ip', first];
}
