import { hasOwnName, memberKey, sameMember } from '../difference/member.ts';
import { canonical } from '../difference/value.ts';
import type { ConfigObject, TypedConfiguration } from '../typed-configuration.ts';
import { type Renaming, renamedValue } from './rename.ts';
import { localName } from './structure.ts';
import type { WriteJob } from './writer.ts';

/** What the target must read as after the graft: objects without order, and each list in its order. */
export interface Prediction {
  readonly named: ReadonlyMap<string, number>;
  readonly lists: ReadonlyMap<string, readonly ConfigObject[]>;
  /** Parts the reader does not understand: those there, and those that come with carried objects. */
  readonly opaque: ReadonlyMap<string, number>;
}

/** Works out the target after a graft from the objects alone, without writing a file. */
export function predict(job: WriteJob, renamings: (object: ConfigObject) => readonly Renaming[]): Prediction {
  const { source, target, steps } = job;
  const gone = new Set<ConfigObject>();
  const came: ConfigObject[] = [];
  const lists = new Map<string, ConfigObject[]>();
  const carried: ConfigObject[] = [];
  const read = (object: ConfigObject): ConfigObject => {
    carried.push(object);
    return { ...object, value: renamedValue(object.value, renamings(object)) };
  };
  const listOf = (name: string) => lists.get(name) ?? lists.set(name, [...target.list(name)]).get(name)!;
  const put = (members: readonly ConfigObject[], from: string, to: string): void => {
    const own = members[0]?.order?.list;
    if (own === undefined) return;
    // A list's name holds its container's: `acl harbour` of access list `harbour`.
    const list = listOf(own.replace(from, () => to));
    list.length = 0;
    for (const member of members) list.push(inList(read(member), from, to));
  };
  const inserts = new Map<string, { index: number; object: ConfigObject }[]>();
  for (const step of steps) {
    const { object } = step;
    if (step.do === 'insert') {
      const made = read(object);
      const named = step.name === null ? made : withName(made, step.name);
      const list = object.order!.list;
      inserts.set(list, [...(inserts.get(list) ?? []), { index: step.index, object: named }]);
    } else if (object.order !== null) {
      const list = listOf(object.order.list);
      if (step.do === 'replace') list[list.indexOf(step.there)] = read(object);
    } else {
      const own = localName(source, object);
      const name = step.do === 'add' ? step.name : own;
      const full = object.name.slice(0, object.name.length - own.length) + name;
      came.push({ ...read(object), name: full });
      if (step.do === 'replace') gone.add(step.there);
      if (step.whole) put(source.contentsOf(object).filter(isOrdered), object.name, full);
    }
  }
  for (const [name, list] of inserts) {
    const members = listOf(name);
    // From the back, so that indices stay true; those of one place keep their order.
    for (const { index, object } of [...list].sort((a, b) => a.index - b.index).reverse())
      members.splice(index, 0, object);
  }
  const named = new Map<string, number>();
  const stay = target.configuration.objects.filter((object) => object.order === null && !gone.has(object));
  for (const object of [...stay, ...came]) count(named, namedKey(object));
  for (const object of target.configuration.objects) if (object.order !== null) listOf(object.order.list);
  const opaque = new Map<string, number>();
  const left = new Set([...gone].map(({ id }) => id));
  for (const part of target.configuration.opaque)
    if (part.within === null || !left.has(part.within)) count(opaque, part.text);
  return {
    named,
    lists: new Map([...lists].filter(([, members]) => members.length > 0)),
    opaque,
  };
}

/** The first thing in which a configuration is not as predicted, as a sentence; null when it is. */
export function mismatchOf(prediction: Prediction, read: TypedConfiguration): string | null {
  const named = new Map<string, number>();
  const lists = new Map<string, ConfigObject[]>();
  for (const object of read.objects) {
    if (object.order === null) count(named, namedKey(object));
    else {
      const list = lists.get(object.order.list);
      if (list === undefined) lists.set(object.order.list, [object]);
      else list.push(object);
    }
  }
  for (const [key, times] of prediction.named)
    if ((named.get(key) ?? 0) !== times)
      return `${shown(key)} should be there ${times} times, not ${named.get(key) ?? 0}.`;
  for (const key of named.keys()) if (!prediction.named.has(key)) return `${shown(key)} should not be there.`;
  for (const name of new Set([...prediction.lists.keys(), ...lists.keys()])) {
    const wanted = prediction.lists.get(name) ?? [];
    const found = (lists.get(name) ?? []).sort((a, b) => a.order!.position - b.order!.position);
    if (wanted.length !== found.length)
      return `${name} should hold ${wanted.length} rules, not ${found.length}.`;
    const at = wanted.findIndex((member, i) => !sameMember(member, found[i]!));
    if (at >= 0) {
      const [want, have] = [memberKey(wanted[at]!), memberKey(found[at]!)];
      return `rule ${at + 1} of ${name} should be ${shown(want)}, not ${shown(have)}.`;
    }
  }
  const opaque = new Map<string, number>();
  for (const { text } of read.opaque) count(opaque, text);
  for (const [text, times] of prediction.opaque)
    if ((opaque.get(text) ?? 0) < times) return `the part "${text}", which is not understood, is gone.`;
  return null;
}

const isOrdered = ({ order }: ConfigObject): boolean => order !== null;

const namedKey = (object: ConfigObject): string =>
  `${object.kind} ${object.name} ${canonical(object.value)} ${object.comment ?? ''}`;

const shown = (key: string): string => (key.length > 160 ? `${key.slice(0, 159)}…` : key);

function count(counts: Map<string, number>, key: string): void {
  counts.set(key, (counts.get(key) ?? 0) + 1);
}

/** A list member under the name of another list. */
function inList(object: ConfigObject, from: string, to: string): ConfigObject {
  const list = object.order!.list.replace(from, () => to);
  const name = hasOwnName(object) ? object.name : list + object.name.slice(object.order!.list.length);
  return { ...object, name, order: { ...object.order!, list } };
}

/** A rule under another comment, or another name of its own. */
function withName(object: ConfigObject, name: string): ConfigObject {
  return { ...object, name, comment: object.comment === null ? null : name };
}
