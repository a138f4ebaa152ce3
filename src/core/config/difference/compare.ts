import { indexReferences } from '../references.ts';
import type { ConfigObject, ObjectKind, Reference, TypedConfiguration } from '../typed-configuration.ts';
import { type Pairing, pairLists } from './lists.ts';
import { compareOpaque, type OpaqueChange } from './opaque.ts';
import { onlyFollows, type Renames } from './rename.ts';
import { canonical, type FieldChange, fieldChanges } from './value.ts';

/**
 * What became of one object.
 * - `moved`: the same, at another place in a list whose order matters, or in another list;
 * - `renamed`: the same content under another name (found by content, since files do not say so);
 * - `changed`: other fields; `alsoMoved` says that its order changed too.
 */
export interface ObjectChange {
  readonly change: 'added' | 'removed' | 'changed' | 'moved' | 'renamed';
  readonly kind: ObjectKind;
  readonly before: ConfigObject | null;
  readonly after: ConfigObject | null;
  readonly fields: readonly FieldChange[];
  readonly alsoMoved: boolean;
  /** It was changed only in that it mentions a renamed object by its new name. */
  readonly followsRename: boolean;
  /** Objects that mention it, before and after. */
  readonly usersBefore: readonly ConfigObject[];
  readonly usersAfter: readonly ConfigObject[];
}

export interface ObjectDifference {
  /** Removed and changed in the order of the first configuration, then what is new in the order of the second. */
  readonly changes: readonly ObjectChange[];
  readonly opaque: readonly OpaqueChange[];
  /** Mentions that lead nowhere in the second configuration but did not in the first. */
  readonly broken: readonly { readonly from: ConfigObject; readonly reference: Reference }[];
  /** No object and no unread part differs. Layout and comments of the file that no object carries may. */
  readonly equal: boolean;
}

/**
 * The difference of two configurations, object by object. Objects without order are matched by kind and name,
 * lists by their values; what is left over is matched by content. Comparing the other way round gives the mirror.
 */
export function compareConfigurations(
  before: TypedConfiguration,
  after: TypedConfiguration,
): ObjectDifference {
  const pairs = byContent(
    [...pairNamed(before.objects, after.objects), ...pairEveryList(before.objects, after.objects)],
    before,
    after,
  );
  const [refsBefore, refsAfter] = [indexReferences(before), indexReferences(after)];
  const renames: Renames = new Map(
    pairs.flatMap(({ before: b, after: a }) =>
      b !== null && a !== null && b.order === null && b.id !== a.id ? [[b.id, a.id]] : [],
    ),
  );
  const changes = pairs.flatMap((pair): ObjectChange[] => {
    const found = changeOf(pair, renames);
    if (found === null) return [];
    const usersBefore = pair.before === null ? [] : refsBefore.usersOf(pair.before.id);
    const usersAfter = refsAfter.usersOf((pair.after ?? pair.before)!.id);
    return [{ ...found, usersBefore, usersAfter }];
  });
  inOrderOfFiles(changes, before, after);

  const opaque = compareOpaque(before, after);
  const old = new Set(refsBefore.dangling.map(({ reference }) => reference.to));
  const broken = refsAfter.dangling.filter(({ reference }) => !old.has(reference.to));
  return { changes, opaque, broken, equal: changes.length === 0 && opaque.length === 0 };
}

function inOrderOfFiles(
  changes: ObjectChange[],
  before: TypedConfiguration,
  after: TypedConfiguration,
): void {
  if (changes.length < 2) return;
  const ranks = new Map(changes.map((change) => [(change.before ?? change.after)!, -1]));
  let rank = 0;
  for (const objects of [before.objects, after.objects])
    for (const object of objects) if (ranks.get(object) === -1) ranks.set(object, rank++);
  const rankOf = (change: ObjectChange) => ranks.get((change.before ?? change.after)!)!;
  changes.sort((x, y) => rankOf(x) - rankOf(y));
}

function changeOf(
  { before, after, moved, same }: Pairing,
  renames: Renames,
): Omit<ObjectChange, 'usersBefore' | 'usersAfter'> | null {
  if (before === null || after === null) {
    const kind = (before ?? after)!.kind;
    return {
      change: before === null ? 'added' : 'removed',
      kind,
      before,
      after,
      fields: [],
      alsoMoved: false,
      followsRename: false,
    };
  }
  const otherList = before.order?.list !== after.order?.list;
  const fields = [
    ...(same === true ? [] : fieldChanges(before.value, after.value)),
    ...(same === true ? [] : fieldChanges(before.comment, after.comment, 'comment')),
    ...(otherList ? [] : fieldChanges(before.section, after.section, 'section')),
  ];
  const named = before.order === null || same !== true;
  const renamed = named && before.name !== after.name && !isPositional(before) && !isPositional(after);
  const alsoMoved = moved || otherList;
  const told = { kind: before.kind, before, after, fields, alsoMoved, followsRename: false };
  if (fields.length > 0)
    return { ...told, change: 'changed', followsRename: onlyFollows(before, after, renames) };
  if (renamed) return { ...told, change: 'renamed' };
  return alsoMoved ? { ...told, change: 'moved' } : null;
}

function isPositional({ name, order }: ConfigObject): boolean {
  return order !== null && name.startsWith(order.list);
}

/** Objects without order: by identity; the n-th definition of an identity with the n-th on the other side. */
function pairNamed(before: readonly ConfigObject[], after: readonly ConfigObject[]): Pairing[] {
  const there = new Map<string, ConfigObject[]>();
  for (const object of after) {
    if (object.order !== null) continue;
    const known = there.get(object.id);
    if (known === undefined) there.set(object.id, [object]);
    else known.push(object);
  }
  const pairs: Pairing[] = [];
  for (const object of before) {
    if (object.order === null)
      pairs.push({ before: object, after: there.get(object.id)?.shift() ?? null, moved: false });
  }
  for (const rest of there.values())
    for (const object of rest) pairs.push({ before: null, after: object, moved: false });
  return pairs;
}

function pairEveryList(before: readonly ConfigObject[], after: readonly ConfigObject[]): Pairing[] {
  const lists = new Map<string, [ConfigObject[], ConfigObject[]]>();
  const collect = (objects: readonly ConfigObject[], side: 0 | 1) => {
    // Members of one list mostly follow one another.
    let [kind, list] = ['', ''];
    let members: ConfigObject[] = [];
    for (const object of objects) {
      if (object.order === null) continue;
      if (object.kind !== kind || object.order.list !== list) {
        kind = object.kind;
        list = object.order.list;
        const key = `${kind} ${list}`;
        members = (lists.get(key) ?? lists.set(key, [[], []]).get(key)!)[side];
      }
      members.push(object);
    }
  };
  collect(before, 0);
  collect(after, 1);
  const position = (object: ConfigObject) => object.order!.position;
  return [...lists.values()].flatMap(([left, right]) =>
    pairLists(
      left.sort((a, b) => position(a) - position(b)),
      right.sort((a, b) => position(a) - position(b)),
    ),
  );
}

/**
 * Joins what was removed with what was added under another name or in another list, where the content is equal; the
 * n-th such object of the one configuration with the n-th of the other.
 */
function byContent(
  pairs: readonly Pairing[],
  before: TypedConfiguration,
  after: TypedConfiguration,
): Pairing[] {
  const gone = new Set(pairs.filter(({ after: a }) => a === null).map(({ before: b }) => b!));
  const come = new Set(pairs.filter(({ before: b }) => b === null).map(({ after: a }) => a!));
  if (gone.size === 0 || come.size === 0) return [...pairs];
  const key = (object: ConfigObject) => `${object.kind} ${object.order === null} ${canonical(object.value)}`;
  const waiting = new Map<string, ConfigObject[]>();
  for (const object of after.objects) {
    if (!come.has(object)) continue;
    const known = waiting.get(key(object));
    if (known === undefined) waiting.set(key(object), [object]);
    else known.push(object);
  }
  const joined: Pairing[] = [];
  for (const object of before.objects) {
    if (!gone.has(object)) continue;
    const match = waiting.get(key(object))?.shift();
    if (match === undefined) continue;
    gone.delete(object);
    come.delete(match);
    joined.push({ before: object, after: match, moved: object.order !== null });
  }
  const stays = (pair: Pairing) =>
    pair.before === null ? come.has(pair.after!) : pair.after !== null || gone.has(pair.before);
  return [...pairs.filter(stays), ...joined];
}
