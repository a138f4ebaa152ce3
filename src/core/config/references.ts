import type { ConfigObject, ObjectId, Reference, TypedConfiguration } from './typed-configuration.ts';

/** References of one configuration, both ways. */
export interface ReferenceIndex {
  readonly byId: ReadonlyMap<ObjectId, ConfigObject>;
  /** Objects that mention the given one. */
  usersOf(id: ObjectId): readonly ConfigObject[];
  /** Objects the given one mentions; names that no object carries are left out (see `dangling`). */
  usedBy(id: ObjectId): readonly ConfigObject[];
  /** Mentions of objects that do not exist. */
  readonly dangling: readonly { readonly from: ConfigObject; readonly reference: Reference }[];
}

/** Configurations do not change: what has to do with one asks for its index more than once. */
const indexes = new WeakMap<readonly ConfigObject[], ReferenceIndex>();

/** The index of a configuration, built in one pass. When an id is defined twice the first one answers to it. */
export function indexReferences({ objects }: Pick<TypedConfiguration, 'objects'>): ReferenceIndex {
  const index = indexes.get(objects) ?? indexOf(objects);
  indexes.set(objects, index);
  return index;
}

function indexOf(objects: readonly ConfigObject[]): ReferenceIndex {
  const byId = new Map<ObjectId, ConfigObject>();
  for (const object of objects) if (!byId.has(object.id)) byId.set(object.id, object);
  const users = new Map<ObjectId, Set<ConfigObject>>();
  const dangling: { from: ConfigObject; reference: Reference }[] = [];
  for (const from of objects) {
    for (const reference of from.references) {
      if (!byId.has(reference.to)) dangling.push({ from, reference });
      const known = users.get(reference.to);
      if (known === undefined) users.set(reference.to, new Set([from]));
      else known.add(from);
    }
  }
  return {
    byId,
    dangling,
    usersOf: (id) => [...(users.get(id) ?? [])],
    usedBy: (id) => {
      const found = new Set<ConfigObject>();
      for (const reference of byId.get(id)?.references ?? []) {
        const object = byId.get(reference.to);
        if (object !== undefined) found.add(object);
      }
      return [...found];
    },
  };
}
