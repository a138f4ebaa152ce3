import type { Value } from '../typed-configuration.ts';

/** One text per meaning: equal exactly when two values are deeply equal, whatever the order of their fields. */
export function canonical(value: Value): string {
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  const known = texts.get(value);
  if (known !== undefined) return known;
  const text = textFor(value);
  texts.set(value, text);
  return text;
}

/** Are two values deeply equal, whatever the order of their fields? Sooner known than their texts. */
export function sameValue(a: Value, b: Value): boolean {
  if (a === b) return true;
  if (isList(a)) {
    if (!isList(b) || a.length !== b.length) return false;
    for (let i = 0; i < a.length; i++) if (!sameValue(a[i]!, b[i]!)) return false;
    return true;
  }
  if (!isFields(a) || !isFields(b)) return false;
  const names = Object.keys(a);
  return (
    names.length === Object.keys(b).length &&
    names.every((name) => Object.hasOwn(b, name) && sameValue(a[name]!, b[name]!))
  );
}

/** Values never change, and a plan asks for the same ones several times. */
const texts = new WeakMap<object, string>();

function textFor(value: Value): string {
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  if (Array.isArray(value)) return `[${value.map(textFor).join(',')}]`;
  const fields = value as { readonly [field: string]: Value };
  const names = Object.keys(fields).sort();
  return `{${names.map((name) => `${JSON.stringify(name)}:${textFor(fields[name]!)}`).join(',')}}`;
}

/**
 * One field that differs. For `elements` the two sides hold only the list elements that the other side lacks;
 * for `order` both hold the whole list. A side without the field is undefined.
 */
export interface FieldChange {
  /** Names of fields joined by `.`; empty for the value as a whole. */
  readonly field: string;
  readonly what: 'value' | 'elements' | 'order';
  readonly before: Value | undefined;
  readonly after: Value | undefined;
}

const isFields = (value: Value | undefined): value is { readonly [field: string]: Value } =>
  typeof value === 'object' && value !== null && !Array.isArray(value);
const isList = (value: Value | undefined): value is readonly Value[] => Array.isArray(value);

/** The fields in which two values differ, down to the deepest field that still exists on both sides. */
export function fieldChanges(before: Value | undefined, after: Value | undefined, field = ''): FieldChange[] {
  if (before !== undefined && after !== undefined && sameValue(before, after)) return [];
  if (isFields(before) && isFields(after)) {
    const names = [...new Set([...Object.keys(before), ...Object.keys(after)])].sort();
    const part = (fields: { readonly [field: string]: Value }, name: string) =>
      Object.hasOwn(fields, name) ? fields[name] : undefined;
    return names.flatMap((name) =>
      fieldChanges(part(before, name), part(after, name), field === '' ? name : `${field}.${name}`),
    );
  }
  if (isList(before) && isList(after)) {
    const gone = withoutElements(before, after);
    const come = withoutElements(after, before);
    if (gone.length === 0 && come.length === 0) return [{ field, what: 'order', before, after }];
    return [{ field, what: 'elements', before: gone, after: come }];
  }
  return [{ field, what: 'value', before, after }];
}

/** The elements of `list` left after taking away each of `taken` once. */
function withoutElements(list: readonly Value[], taken: readonly Value[]): Value[] {
  const counts = new Map<string, number>();
  for (const element of taken) {
    const key = canonical(element);
    counts.set(key, (counts.get(key) ?? 0) + 1);
  }
  return list.filter((element) => {
    const key = canonical(element);
    const left = counts.get(key) ?? 0;
    if (left > 0) counts.set(key, left - 1);
    return left === 0;
  });
}

/** The smallest parts of a value, for likeness; at most 400, so that a set of a million elements stays cheap. */
export function leaves(value: Value): readonly string[] {
  const found: string[] = [];
  const visit = (part: Value, path: string): void => {
    if (found.length >= 400) return;
    if (isFields(part)) for (const name of Object.keys(part).sort()) visit(part[name]!, `${path}.${name}`);
    else if (isList(part)) for (const element of part) visit(element, `${path}[]`);
    else if (typeof part === 'string') for (const word of part.split(/\s+/)) found.push(`${path}=${word}`);
    else found.push(`${path}=${part}`);
  };
  visit(value, '');
  return found;
}

/** How much two lists of leaves have in common: 0 (nothing) to 1 (all). */
export function likeness(a: readonly string[], b: readonly string[]): number {
  const counts = new Map<string, number>();
  for (const leaf of a) counts.set(leaf, (counts.get(leaf) ?? 0) + 1);
  let shared = 0;
  for (const leaf of b) {
    const left = counts.get(leaf) ?? 0;
    if (left > 0) {
      counts.set(leaf, left - 1);
      shared++;
    }
  }
  const all = a.length + b.length - shared;
  return all === 0 ? 1 : shared / all;
}
