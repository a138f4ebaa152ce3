import { canonical } from './difference/value.ts';
import { indexReferences } from './references.ts';
import type { ConfigObject, ObjectKind, TypedConfiguration } from './typed-configuration.ts';

/** What is worth a second look in the objects of one configuration. */
export type ObjectFinding =
  /** No other object mentions it. */
  | { readonly kind: 'unused'; readonly object: ConfigObject }
  /** `also` came before it with the same kind and name. */
  | { readonly kind: 'defined twice'; readonly object: ConfigObject; readonly also: ConfigObject }
  /** `also` came before it under the same heading, with another name and the same content. */
  | { readonly kind: 'same content'; readonly object: ConfigObject; readonly also: ConfigObject };

/** Kinds that stand for a content, and with chains all that exist to be mentioned. */
const CONTENTS: ReadonlySet<ObjectKind> = new Set([
  'address',
  'address-group',
  'service',
  'service-group',
  'map',
]);
const MENTIONED: ReadonlySet<ObjectKind> = new Set([...CONTENTS, 'chain']);

/** Finds objects that nobody mentions, names given twice and contents given twice, in the order of the configuration. */
export function objectFindings(configuration: TypedConfiguration): ObjectFinding[] {
  const index = indexReferences(configuration);
  const byId = new Map<string, ConfigObject>();
  const byContent = new Map<string, ConfigObject>();
  const found: ObjectFinding[] = [];
  for (const object of configuration.objects) {
    if (object.order !== null || !MENTIONED.has(object.kind)) continue;
    const namesake = byId.get(object.id);
    if (namesake !== undefined) found.push({ kind: 'defined twice', object, also: namesake });
    else byId.set(object.id, object);
    if (CONTENTS.has(object.kind) && !isEmpty(object)) {
      const content = `${object.kind} ${object.section} ${canonical(object.value)}`;
      const alike = byContent.get(content);
      if (alike === undefined) byContent.set(content, object);
      else if (alike.id !== object.id) found.push({ kind: 'same content', object, also: alike });
    }
    if (index.usersOf(object.id).length === 0 && !isEntered(object)) found.push({ kind: 'unused', object });
  }
  return found;
}

/** What is empty may be filled by other programs, each object differently. */
function isEmpty({ value }: ConfigObject): boolean {
  if (typeof value !== 'object' || value === null) return value === null;
  const lists = Array.isArray(value)
    ? [value]
    : ['elements', 'members', 'addresses'].map((field) => (value as Record<string, unknown>)[field]);
  return lists.some((list) => Array.isArray(list) && list.length === 0);
}

/** A chain that a hook enters is used. */
function isEntered({ kind, value }: ConfigObject): boolean {
  if (kind !== 'chain' || typeof value !== 'object' || value === null || Array.isArray(value)) return false;
  return 'hook' in value && value.hook !== null;
}
