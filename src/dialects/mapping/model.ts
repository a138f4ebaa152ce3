import type { AddressSet, NumberSet } from '#core/address';
import {
  type ConfigObject,
  type ObjectId,
  type ObjectKind,
  type OpaquePart,
  type Order,
  objectId,
  type Reference,
  type Value,
} from '#core/config';
import { excerpt } from '#dialects/source';
import { type Stand, spanOf, type Tree, titleOf } from '#dialects/tree';
import { Coverage, Entry, type LeftPart, type Taken } from './entry.ts';
import { parsePath, select } from './path.ts';
import type { EntryOf, Mapping } from './schema.ts';
import { isLiteral, type Service } from './services.ts';
import { portsOf } from './texts.ts';

/** Names that an object mentions, and the kinds of object they may mean. */
export interface Mentions {
  readonly kinds: readonly ObjectKind[];
  readonly taken: readonly Taken[];
  /** Is a name that no object has a value of its own, such as an address? */
  isLiteral(text: string): boolean;
}

/** What an object mentions, and the list its references go to. */
interface Referring {
  readonly tree: Tree;
  readonly references: Reference[];
  readonly mentions: readonly Mentions[];
}

const SECTIONS: { readonly [Kind in ObjectKind]?: string } = {
  address: 'addresses',
  'address-group': 'groups',
  service: 'services',
  'service-group': 'service groups',
  zone: 'zones',
  interface: 'interfaces',
  rule: 'rules',
  nat: 'NAT',
  route: 'routes',
  setting: 'settings',
};

/** Everything a mapping found in the trees, before rules are compiled. */
export class Model {
  /** Mentions by objects that were read before every object was known. */
  readonly #waiting: Referring[] = [];
  /** Identities and names of all that can be mentioned, once they are known. */
  #mentionable: { readonly ids: ReadonlySet<ObjectId>; readonly names: ReadonlySet<string> } | undefined;
  readonly objects: ConfigObject[] = [];
  readonly opaque: OpaquePart[] = [];
  readonly coverage = new Coverage();
  /** Where each object stands, for edits. */
  readonly stands = new Map<ConfigObject, Stand>();
  readonly addresses = new Map<
    string,
    { readonly sets: readonly AddressSet[]; readonly unknown: readonly string[] }
  >();
  readonly groups = new Map<string, readonly string[]>();
  readonly services = new Map<string, Service>();
  readonly serviceGroups = new Map<string, readonly string[]>();
  /** Interfaces by zone. */
  readonly zones = new Map<string, Set<string>>();
  readonly interfaces = new Set<string>();
  readonly mapping: Mapping;
  readonly trees: readonly Tree[];

  constructor(mapping: Mapping, trees: readonly Tree[]) {
    this.mapping = mapping;
    this.trees = trees;
  }

  readonly #names = new Map<string, number>();

  /** A name that tells equal names in one list apart: `web`, `web #2`. */
  ownName(key: string, name: string): string {
    const count = (this.#names.get(key) ?? 0) + 1;
    this.#names.set(key, count);
    return count === 1 ? name : `${name} #${count}`;
  }

  /** Is a text a word for any or not? */
  readonly isWord = (text: string): boolean => {
    const { any, not } = this.mapping.words;
    return any.includes(text) || not.includes(text);
  };

  /** Does a text stand for itself? */
  readonly isLiteral = (text: string): boolean => isLiteral(text, this.mapping);

  portsOf(text: string): NumberSet | undefined {
    return portsOf(text, this.mapping.words);
  }

  /** Every place an entry of the mapping leads to, in the order of the files and their text. */
  entriesOf<E extends { readonly at: string }>(
    list: readonly E[] | undefined,
  ): { readonly entry: Entry; readonly as: E }[] {
    return this.trees.flatMap((tree) =>
      (list ?? [])
        .flatMap((as) => select(tree.root, parsePath(as.at)).map((found) => ({ found, as })))
        .sort((a, b) => a.found.node.start - b.found.node.start)
        .map(({ found, as }) => ({ entry: new Entry(tree, found, this.coverage, attributesIn(as)), as })),
    );
  }

  add(
    kind: ObjectKind,
    entry: Entry,
    name: string,
    value: Value,
    more: {
      readonly order?: Order;
      readonly mentions?: readonly Mentions[];
      readonly comment?: string | null;
    } = {},
  ): ConfigObject {
    const { order = null, mentions = [], comment = null } = more;
    const id = order === null ? objectId(kind, name) : objectId(kind, order.list, order.position);
    const references: Reference[] = [];
    const object: ConfigObject = {
      id,
      kind,
      name,
      section: SECTIONS[kind] ?? kind,
      place: entry.place,
      value,
      order,
      comment,
      references,
    };
    this.objects.push(object);
    this.stands.set(object, { tree: entry.tree, node: entry.found.node });
    if (mentions.length > 0) this.#refer({ tree: entry.tree, references, mentions });
    return object;
  }

  /** Says that every object is known but rules and translations, which nothing mentions. */
  knowObjects(): void {
    const ids = new Set(this.objects.map(({ id }) => id));
    this.#mentionable = { ids, names: new Set(this.objects.map(({ name }) => name)) };
    for (const one of this.#waiting.splice(0)) this.#refer(one);
  }

  /** Turns mentions into references. Literal addresses and words for any refer to nothing. */
  #refer(referring: Referring): void {
    if (this.#mentionable === undefined) {
      this.#waiting.push(referring);
      return;
    }
    const { ids, names } = this.#mentionable;
    const { tree, references, mentions } = referring;
    for (const { kinds, taken, isLiteral } of mentions) {
      for (const { text, node } of taken) {
        const name = text.startsWith('!') ? text.replace(/^!(?=.)/, '') : text;
        // Most texts are addresses and ports, which no object is called.
        const to = names.has(name)
          ? kinds.map((kind) => objectId(kind, name)).find((id) => ids.has(id))
          : undefined;
        if (to === undefined && isLiteral(name)) continue;
        references.push({ to: to ?? objectId(kinds[0]!, name), text, place: spanOf(tree, node) });
      }
    }
  }

  leave(tree: Tree, { start, end }: LeftPart, why: string, within: ObjectId | null): void {
    const text = tree.source.text.slice(start, end);
    this.opaque.push({
      place: tree.source.span(start, end),
      ...excerpt(text),
      why,
      within,
      mayAffectTraffic: true,
    });
  }

  /** A second definition of a name: the first counts here, the device may think otherwise. */
  leaveSecond(entry: Entry, kind: ObjectKind, name: string): void {
    this.leave(
      entry.tree,
      entry.found.node,
      `The name ${name} is defined before; which one counts is not known.`,
      objectId(kind, name),
    );
  }

  /** Leaves what is left of an object, as parts that the mapping does not explain. */
  leaveRest(entry: Entry, rest: readonly LeftPart[], within: ObjectId): void {
    for (const part of rest) this.leave(entry.tree, part, 'The mapping says nothing of this part.', within);
  }
}

/** The attributes that a part of the mapping mentions anywhere. */
export function attributesIn(as: object): ReadonlySet<string> {
  const known = MENTIONED.get(as);
  if (known !== undefined) return known;
  const names = new Set([...JSON.stringify(as).matchAll(/@([\w:.-]+)/g)].map(([, name]) => name!));
  MENTIONED.set(as, names);
  return names;
}

const MENTIONED = new WeakMap<object, ReadonlySet<string>>();

/** The name of an entry: the field, the capture `name`, or what the node says. */
export function nameOf(entry: Entry, as: { readonly name?: EntryOf<'rules'>['name'] | undefined }): string {
  return entry.text(as.name) ?? entry.found.captures.get('name')?.join(' ') ?? titleOf(entry.found.node);
}
