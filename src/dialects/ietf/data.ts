import type { SourceFile, Span } from '#core/config';
import { readTree, spanOf, type Tree, type TreeFormat, type TreeNode } from '#dialects/tree';

/**
 * A node of YANG instance data, whichever of its two encodings it came in (XML: RFC 7950; JSON: RFC 7951). The entries
 * of a list or leaf-list are siblings of one name, as in XML.
 */
export class DataNode {
  readonly name: string;
  /** Module name; the namespace itself where that is not an IETF or IANA YANG module. */
  readonly module: string;
  readonly tree: Tree;
  readonly node: TreeNode;
  private known: readonly DataNode[] | undefined;

  constructor(tree: Tree, node: TreeNode, name: string, module: string) {
    this.name = name;
    this.module = module;
    this.tree = tree;
    this.node = node;
    this.known = undefined;
  }

  get children(): readonly DataNode[] {
    this.known ??= childrenOf(this);
    return this.known;
  }

  /** The value of a leaf; null for everything else, and for leaves of type empty. */
  get text(): string | null {
    return isContainer(this.node) ? null : this.node.value;
  }

  /** Where its value came from, by RFC 8342 section 5.3.4: `intended`, `system`, `learned`, …; null when not said. */
  get origin(): string | null {
    const origin = this.tree.format === 'xml' ? xmlOrigin(this.node) : jsonOrigin(this.node);
    return origin && withoutPrefix(origin);
  }
}

/** Containers around instance data: NETCONF (RFC 6241), RESTCONF (RFC 8040), get-data (RFC 8526). */
const ENVELOPES = new Set(['rpc-reply', 'data', 'config', 'edit-config']);
const YANG = 'urn:ietf:params:xml:ns:yang:';

/** Is the file XML or JSON? By its first mark. */
function encodingOf(file: SourceFile): TreeFormat {
  return /^\ufeff?\s*</.test(file.text.slice(0, 4096)) ? 'xml' : 'json';
}

/** Reads a file and gives its top-level data nodes, without envelopes. */
export function readData(file: SourceFile): { readonly tree: Tree; readonly top: readonly DataNode[] } {
  const tree = readTree(file, encodingOf(file));
  return { tree, top: unwrap(new DataNode(tree, tree.root, '', '').children) };
}

function unwrap(nodes: readonly DataNode[]): DataNode[] {
  return nodes.flatMap((node) =>
    ENVELOPES.has(node.name) && node.text === null ? unwrap(node.children) : [node],
  );
}

function childrenOf({ tree, node, module }: DataNode): readonly DataNode[] {
  const { children } = node;
  // A list inside a list is no instance data.
  if (children.length === 0 || (node.kind === 'list' && node !== tree.root)) return NO_CHILDREN;
  if (tree.format === 'xml') return children.map((child) => xmlNode(tree, child, module));
  if (children.every(isOneNode)) return children.map((child) => jsonNode(tree, child, child.name, module));
  return children.flatMap((child) => {
    if (isAnnotation(child)) return [];
    if (isOneNode(child)) return [jsonNode(tree, child, child.name, module)];
    return child.children.map((entry) => jsonNode(tree, entry, child.name, module));
  });
}

function xmlNode(tree: Tree, node: TreeNode, inherited: string): DataNode {
  const space = node.namespace ?? '';
  const module = space.startsWith(YANG) ? space.slice(YANG.length) : space || inherited;
  return new DataNode(tree, node, node.name, module);
}

function jsonNode(tree: Tree, node: TreeNode, fullName: string, inherited: string): DataNode {
  const colon = fullName.indexOf(':');
  const module = colon < 0 ? inherited : fullName.slice(0, colon);
  return new DataNode(tree, node, withoutPrefix(fullName), module);
}

const NO_CHILDREN: readonly DataNode[] = [];

function isContainer({ kind }: TreeNode): boolean {
  return kind === 'object' || kind === 'list';
}

/** Everything but annotations is one node, or as many as a list has entries. */
function isOneNode(node: TreeNode): boolean {
  return !isAnnotation(node) && (node.kind !== 'list' || isEmptyLeaf(node));
}

/** RFC 7952 section 5.2: annotations are members whose name starts with @. */
function isAnnotation({ name }: TreeNode): boolean {
  return name.startsWith('@');
}

/** RFC 7951 section 6.9: a leaf of type empty is `[null]`. */
function isEmptyLeaf(node: TreeNode): boolean {
  return (
    node.children.length === 1 && node.children[0]!.value === 'null' && node.children[0]!.kind === 'literal'
  );
}

function xmlOrigin({ attributes }: TreeNode): string | null {
  return attributes.find(({ name }) => /(?:^|:)origin$/.test(name))?.value ?? null;
}

function jsonOrigin({ children }: TreeNode): string | null {
  const notes = children.find(({ name }) => name === '@');
  return notes?.children.find(({ name }) => name === 'ietf-origin:origin')?.value ?? null;
}

/** An identity without the module or prefix in front: `ianaift:l2vlan` is `l2vlan`. */
export function withoutPrefix(identity: string): string {
  return identity.slice(identity.indexOf(':') + 1);
}

export function child(node: DataNode | undefined, name: string): DataNode | undefined {
  for (const candidate of node?.children ?? NO_CHILDREN) if (candidate.name === name) return candidate;
  return undefined;
}

/** The same as {@link childrenNamed}, one by one: what is below an entry is let go with it, for lists may be long. */
export function* eachNamed(node: DataNode | undefined, name: string): Generator<DataNode> {
  for (const { tree, node: entry, module } of childrenNamed(node, name))
    yield new DataNode(tree, entry, name, module);
}

export function childrenNamed(node: DataNode | undefined, name: string): DataNode[] {
  return node === undefined ? [] : node.children.filter((candidate) => candidate.name === name);
}

/** The text of a leaf at a path below a node. */
export function leaf(node: DataNode | undefined, ...path: readonly string[]): string | null {
  let at = node;
  for (const name of path) at = child(at, name);
  return at?.text ?? null;
}

export function placeOf(node: DataNode): Span {
  return spanOf(node.tree, node.node);
}
