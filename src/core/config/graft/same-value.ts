import { canonical } from '../difference/value.ts';
import type { ConfigObject, Value } from '../typed-configuration.ts';
import type { Structure } from './structure.ts';

const KINDS: ReadonlySet<ConfigObject['kind']> = new Set([
  'address',
  'address-group',
  'service',
  'service-group',
  'map',
]);

/** Is the value of the object all that it is, so that one of the same value does the same? */
export function isItsValue({ kind }: ConfigObject): boolean {
  return KINDS.has(kind);
}

/** Equal for objects of one kind, standing in the same thing, with the same value. */
export function valueKey(structure: Structure, object: ConfigObject, value: Value = object.value): string {
  return `${object.kind} ${structure.containerOf(object)?.id ?? ''} ${canonical(value)}`;
}

/** The objects that are their value, by {@link valueKey}; of several alike the first. */
export function firstByValue(structure: Structure): ReadonlyMap<string, ConfigObject> {
  const found = new Map<string, ConfigObject>();
  for (const object of structure.configuration.objects) {
    if (!isItsValue(object)) continue;
    const key = valueKey(structure, object);
    if (!found.has(key)) found.set(key, object);
  }
  return found;
}
