import type { Span } from '#core/config';
import { spanOf, type Tree, type TreeNode, wordsOf } from '#dialects/tree';
import { type Found, follow, parsePath, select, textsOf } from './path.ts';
import { type Field, isTemplate } from './schema.ts';

/** One text taken from a tree, with the node it stands in. */
export interface Taken {
  readonly text: string;
  readonly node: TreeNode;
}

/** A stretch of text that the mapping does not explain. */
export interface LeftPart {
  readonly start: number;
  readonly end: number;
}

/** The attributes of one node that the mapping does not mention. */
export function ownAttributesLeft(node: TreeNode, mentioned: ReadonlySet<string>): LeftPart[] {
  return node.attributes
    .filter(({ name }) => !mentioned.has(name) && !/^(?:xmlns|xml)(?::|$)/.test(name))
    .map(({ name, start, end }) => ({ start: start - name.length - 2, end: end + 1 }));
}

/** Attributes that the mapping does not mention, at a node and below; what is `left` anyway is not looked into. */
function attributesLeft(
  node: TreeNode,
  mentioned: ReadonlySet<string>,
  left: readonly TreeNode[],
): LeftPart[] {
  if (left.includes(node)) return [];
  return [
    ...ownAttributesLeft(node, mentioned),
    ...node.children.flatMap((child) => attributesLeft(child, mentioned, left)),
  ];
}

/** Marks which nodes of a tree were understood, so that the rest can be named. */
export class Coverage {
  readonly #taken = new Set<TreeNode>();

  take(node: TreeNode): void {
    this.#taken.add(node);
  }

  takeAll(node: TreeNode): void {
    this.take(node);
    for (const child of node.children) this.takeAll(child);
  }

  /** The topmost nodes below `node` that nobody took, and nothing below them either. */
  leftBelow(node: TreeNode, left: TreeNode[] = []): TreeNode[] {
    for (const child of node.children) {
      if (this.#touches(child)) this.leftBelow(child, left);
      else left.push(child);
    }
    return left;
  }

  /** Nodes around entries that are no part of one themselves. */
  around(node: TreeNode): TreeNode[] {
    return node.children.flatMap((child) =>
      this.#taken.has(child) || !this.#touches(child) ? [] : [child, ...this.around(child)],
    );
  }

  #touches(node: TreeNode): boolean {
    if (this.#taken.has(node)) return true;
    for (const child of node.children) if (this.#touches(child)) return true;
    return false;
  }
}

const NOTHING: readonly Taken[] = [];

/** A text without the brackets and commas around an entry of a list. */
function bareText(text: string): string {
  const word = text.trim();
  return OPENING.includes(word.charAt(0)) || CLOSING.includes(word.charAt(word.length - 1))
    ? word.replace(/^[[(]+|[\]),]+$/g, '')
    : word;
}

const OPENING = '[(';
const CLOSING = ']),';

/** One place of a tree that an entry of the mapping leads to: takes fields from it. */
export class Entry {
  readonly tree: Tree;
  readonly found: Found;
  readonly #coverage: Coverage;
  readonly #attributes: ReadonlySet<string>;

  /** `attributes`: the names of attributes that the mapping mentions for this kind of entry. */
  constructor(tree: Tree, found: Found, coverage: Coverage, attributes: ReadonlySet<string>) {
    this.#attributes = attributes;
    this.tree = tree;
    this.found = found;
    this.#coverage = coverage;
    coverage.take(found.node);
  }

  get place(): Span {
    return spanOf(this.tree, this.found.node);
  }

  /** The texts of a field; none where it is not there. Commas and brackets around list entries are dropped. */
  texts(field: Field | undefined): readonly Taken[] {
    if (field === undefined) return NOTHING;
    const { take, split, otherwise } =
      typeof field === 'string' ? { take: field, split: undefined, otherwise: undefined } : field;
    const found: Taken[] = [];
    const add = (text: string, node: TreeNode) => {
      if (split !== undefined && text.includes(split)) for (const part of text.split(split)) add(part, node);
      else {
        const bare = bareText(text);
        if (bare !== '') found.push({ text: bare, node });
      }
    };
    if (isTemplate(take)) this.#fromTemplate(take, add);
    else this.#fromPath(take, add);
    if (found.length > 0 || otherwise === undefined) return found;
    return [{ text: otherwise, node: this.found.node }];
  }

  /** All texts of a field as one, or null. */
  text(field: Field | undefined): string | null {
    const texts = this.texts(field);
    if (texts.length < 2) return texts[0]?.text ?? null;
    return texts.map(({ text }) => text).join(' ');
  }

  /** Does the field lead to anything, even if that holds no text? */
  finds(field: Field): boolean {
    const take = typeof field === 'string' ? field : field.take;
    return !isTemplate(take) && select(this.found.node, parsePath(take)).length > 0;
  }

  /** Is the field there, and not a word for no? */
  has(field: Field | undefined): boolean {
    if (field === undefined) return false;
    const take = typeof field === 'string' ? field : field.take;
    if (isTemplate(take)) return this.text(field) !== null;
    const nodes = select(this.found.node, parsePath(take));
    for (const { node } of nodes) this.#coverage.take(node);
    return nodes.some((one) => !['false', 'no', 'off', '0'].includes(textsOf(one).join(' ')));
  }

  /** Parts of this entry that no field took: nodes, and attributes. What stands on the `ignore` paths is understood. */
  left(ignore: readonly string[] = []): LeftPart[] {
    for (const path of ignore)
      for (const { node } of select(this.found.node, parsePath(path))) this.#coverage.takeAll(node);
    const nodes = this.#coverage.leftBelow(this.found.node);
    if (this.tree.format !== 'xml') return nodes;
    return [...nodes, ...attributesLeft(this.found.node, this.#attributes, nodes)];
  }

  #fromPath(path: string, add: (text: string, node: TreeNode) => void): void {
    follow(this.found.node, parsePath(path), (one) => {
      const { node, part } = one;
      this.#coverage.take(node);
      if (part === null && wordsOf(node).length === 0)
        for (const child of node.children) this.#coverage.take(child);
      for (const text of textsOf(one)) add(text, node);
    });
  }

  #fromTemplate(template: string, add: (text: string, node: TreeNode) => void): void {
    const { captures, node } = this.found;
    const whole = /^\{([\w-]+)\}$/.exec(template)?.[1];
    if (whole !== undefined) for (const text of captures.get(whole) ?? []) add(text, node);
    else {
      const text = template.replace(/\{([\w-]+)\}/g, (_, name: string) =>
        (captures.get(name) ?? []).join(' '),
      );
      add(text, node);
    }
  }
}
