import type { ConfigObject, ObjectId, Value } from '../typed-configuration.ts';
import { canonical } from './value.ts';

/** New identities by old ones. */
export type Renames = ReadonlyMap<ObjectId, ObjectId>;

/**
 * Does an object differ only in that it mentions renamed objects by their new names? Lists are compared without their
 * order, since a new name may sort elsewhere.
 */
export function onlyFollows(before: ConfigObject, after: ConfigObject, renames: Renames): boolean {
  const texts = new Map<string, string>();
  for (const { to, text } of before.references) {
    const renamed = renames.get(to);
    const there =
      renamed === undefined ? undefined : after.references.find((reference) => reference.to === renamed);
    if (there !== undefined && there.text !== text) texts.set(text, there.text);
  }
  if (texts.size === 0 || before.comment !== after.comment) return false;
  return unordered(withTexts(before.value, texts)) === unordered(after.value);
}

/** The value with every mention replaced: whole texts, and whole words inside longer ones. */
function withTexts(value: Value, texts: ReadonlyMap<string, string>): Value {
  if (typeof value === 'string') {
    const whole = texts.get(value);
    if (whole !== undefined) return whole;
    return value
      .split(/(\s+)/)
      .map((word) => texts.get(word) ?? word)
      .join('');
  }
  if (value === null || typeof value !== 'object') return value;
  if (Array.isArray(value)) return value.map((element: Value) => withTexts(element, texts));
  const fields = value as { readonly [field: string]: Value };
  return Object.fromEntries(Object.entries(fields).map(([name, part]) => [name, withTexts(part, texts)]));
}

function unordered(value: Value): string {
  const sort = (part: Value): Value => {
    if (part === null || typeof part !== 'object') return part;
    if (Array.isArray(part)) return part.map((element: Value) => canonical(sort(element))).sort();
    const fields = part as { readonly [field: string]: Value };
    return Object.fromEntries(Object.entries(fields).map(([name, inner]) => [name, sort(inner)]));
  };
  return canonical(sort(value));
}
