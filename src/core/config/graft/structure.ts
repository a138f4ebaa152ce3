import { indexReferences, type ReferenceIndex } from '../references.ts';
import type { ConfigObject, TypedConfiguration } from '../typed-configuration.ts';

/** A configuration with what stands in what: rules in chains, chains in tables, entries in lists. */
export interface Structure {
  readonly configuration: TypedConfiguration;
  readonly references: ReferenceIndex;
  /** The object that another stands in; null at top level. */
  containerOf(object: ConfigObject): ConfigObject | null;
  /** What stands directly in an object, in the order of the configuration. */
  contentsOf(object: ConfigObject): readonly ConfigObject[];
  /** Members of a list whose order matters, in order. */
  list(name: string): readonly ConfigObject[];
}

/**
 * Finds what stands in what: an object's section where that is the identity of another object, else the smallest
 * object whose stretch of text encloses it.
 */
export function structureOf(configuration: TypedConfiguration): Structure {
  const references = indexReferences(configuration);
  const containers = new Map<ConfigObject, ConfigObject>();
  const byPlace: ConfigObject[] = [];
  // Rules of one chain follow one another: the same section is not looked up again.
  let section = '';
  let named = references.byId.get(section);
  for (const object of configuration.objects) {
    if (object.section !== section) {
      section = object.section;
      named = references.byId.get(section);
    }
    if (named !== undefined && named !== object) containers.set(object, named);
    else byPlace.push(object);
  }
  if (byPlace.length > 0) {
    const wanted = new Set(byPlace);
    for (const [inner, outer] of enclosing(configuration.objects))
      if (wanted.has(inner)) containers.set(inner, outer);
  }
  const contents = new Map<ConfigObject, ConfigObject[]>();
  const lists = new Map<string, ConfigObject[]>();
  for (const object of configuration.objects) {
    const outer = containers.get(object);
    if (outer !== undefined) put(contents, outer, object);
    if (object.order !== null) put(lists, object.order.list, object);
  }
  for (const list of lists.values()) list.sort((a, b) => a.order!.position - b.order!.position);
  return {
    configuration,
    references,
    containerOf: (object) => containers.get(object) ?? null,
    contentsOf: (object) => contents.get(object) ?? [],
    list: (name) => lists.get(name) ?? [],
  };
}

/** The last part of a name, which is the object's own: `harbours` of `inet filter harbours`, `web` of `$web`. */
export function localName(structure: Structure, object: ConfigObject): string {
  const outer = structure.containerOf(object);
  if (outer !== null && object.name.startsWith(`${outer.name} `)) {
    return object.name.slice(object.name.lastIndexOf(' ') + 1);
  }
  return object.name.replace(/^\$/, '');
}

function put<K, V>(map: Map<K, V[]>, key: K, value: V): void {
  const known = map.get(key);
  if (known === undefined) map.set(key, [value]);
  else known.push(value);
}

/** Pairs of an object and the smallest one that encloses it, by their stretches of text. */
function* enclosing(objects: readonly ConfigObject[]): Generator<[ConfigObject, ConfigObject]> {
  const sorted = [...objects].sort((a, b) =>
    a.place.file === b.place.file
      ? a.place.start - b.place.start || b.place.end - a.place.end
      : a.place.file < b.place.file
        ? -1
        : 1,
  );
  const open: ConfigObject[] = [];
  for (const object of sorted) {
    while (open.length > 0 && !encloses(open.at(-1)!, object)) open.pop();
    const outer = open.at(-1);
    const isLarger = outer !== undefined && lengthOf(outer) > lengthOf(object);
    if (isLarger) yield [object, outer];
    if (outer === undefined || isLarger) open.push(object);
  }
}

const lengthOf = ({ place }: ConfigObject): number => place.end - place.start;

const encloses = ({ place: outer }: ConfigObject, { place: inner }: ConfigObject): boolean =>
  outer.file === inner.file && outer.end >= inner.end && outer.start <= inner.start;
