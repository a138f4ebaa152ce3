import type { Expression, Verdict } from '../syntax.ts';
import { concatenated, conditionMatch, elementsOf, fieldNames, NEVER, type Test } from './comparison.ts';
import type { Context } from './context.ts';
import { limitOf } from './limits.ts';
import { singles } from './values.ts';

/** The test that a map's key has one of these values; null when the key is not a field or fields. */
export function keyTest(context: Context, key: Expression, keys: readonly Expression[]): Test | null {
  if (typeof key === 'string') return null;
  const specific = keys.filter((value) => typeof value === 'string' || value.kind !== 'any');
  // `*` catches whatever no other key has; callers ask for it last.
  if (specific.length < keys.length) return { boxes: [{}], negated: false };
  if (key.kind === 'concat') {
    const fields = fieldNames(key.parts);
    const boxes = fields === null ? null : concatenated(context, fields, specific);
    return boxes === null ? null : { boxes, negated: false };
  }
  const values = specific.flatMap((value) => [...singles(value)]);
  const limit =
    (key.kind === 'field' ? limitOf(context, key.name, values, false) : null) ??
    conditionMatch(context, key, null, false, values);
  return limit === 'never' ? NEVER : { boxes: [limit], negated: false };
}

/** The branches of a verdict map, keys with the same verdict joined, the catch-all last. Null when not known. */
export function branchesOf(
  context: Context,
  key: Expression,
  map: Expression,
): { readonly tests: readonly Test[]; readonly verdict: Verdict }[] | null {
  const elements = elementsOf(context, map);
  if (elements === null) return null;
  const groups = new Map<string, { keys: Expression[]; verdict: Verdict }>();
  let rest: Verdict | null = null;
  for (const element of elements) {
    if (typeof element === 'string' || element.kind !== 'pair') return null;
    const { data } = element;
    if (typeof data === 'string' || data.kind !== 'verdict') return null;
    if (typeof element.key !== 'string' && element.key.kind === 'any') {
      rest = data;
      continue;
    }
    const text = `${data.verdict} ${data.chain ?? ''}`;
    const group = groups.get(text);
    if (group === undefined) groups.set(text, { keys: [element.key], verdict: data });
    else group.keys.push(element.key);
  }
  const branches: { tests: readonly Test[]; verdict: Verdict }[] = [];
  for (const { keys, verdict } of groups.values()) {
    const test = keyTest(context, key, keys);
    if (test === null) return null;
    branches.push({ tests: [test], verdict });
  }
  if (rest !== null) {
    const others = branches.map(({ tests }) => ({ boxes: tests[0]!.boxes, negated: true }));
    branches.push({ tests: others, verdict: rest });
  }
  return branches;
}
