import type { SourceFile, Span } from '#core/config';
import { readTree, spanOf, type Tree, type TreeFormat, type TreeNode } from '#dialects/tree';

/**
 * A node of YANG instance data, whichever of its two encodings it came in (XML: RFC 7950; JSON: RFC 7951). The entries
 * of a list or leaf-list are siblings of one name, as in XML.
 */
export interface DataNode {
  readonly name: string;
  /** Module name; the namespace itself where that is not an IETF or IANA YANG module. */
  readonly module: string;
  /** The value of a leaf; null for everything else, and for leaves of type empty. */
  readonly text: string | null;
  readonly children: readonly DataNode[];
  /** Where its value came from, by RFC 8342 section 5.3.4: `intended`, `system`, `learned`, …; null when not said. */
  readonly origin: string | null;
  readonly tree: Tree;
  readonly node: TreeNode;
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
  const top = tree.format === 'xml' ? xmlChildren(tree, tree.root, '') : jsonChildren(tree, tree.root, '');
  return { tree, top: unwrap(top) };
}

function unwrap(nodes: readonly DataNode[]): DataNode[] {
  return nodes.flatMap((node) =>
    ENVELOPES.has(node.name) && node.text === null ? unwrap(node.children) : [node],
  );
}

function xmlChildren(tree: Tree, holder: TreeNode, inherited: string): DataNode[] {
  return holder.children.map((node) => {
    const space = node.namespace ?? '';
    const module = space.startsWith(YANG) ? space.slice(YANG.length) : space || inherited;
    const origin = node.attributes.find(({ name }) => /(?:^|:)origin$/.test(name))?.value ?? null;
    const children = xmlChildren(tree, node, module);
    return {
      name: node.name,
      module,
      text: node.value,
      children,
      origin: origin && withoutPrefix(origin),
      tree,
      node,
    };
  });
}

function jsonChildren(tree: Tree, holder: TreeNode, inherited: string): readonly DataNode[] {
  if (holder.children.length === 0) return NO_CHILDREN;
  const found: DataNode[] = [];
  for (const node of holder.children) {
    // RFC 7952 section 5.2: annotations are members whose name starts with @.
    if (node.name.startsWith('@')) continue;
    const colon = node.name.indexOf(':');
    const module = colon < 0 ? inherited : node.name.slice(0, colon);
    const name = colon < 0 ? node.name : node.name.slice(colon + 1);
    if (node.kind !== 'list' || isEmptyLeaf(node)) found.push(jsonNode(tree, node, name, module));
    else for (const entry of node.children) found.push(jsonNode(tree, entry, name, module));
  }
  return found;
}

function jsonNode(tree: Tree, node: TreeNode, name: string, module: string): DataNode {
  return {
    name,
    module,
    text: node.kind === 'object' || node.kind === 'list' ? null : node.value,
    children: node.kind === 'object' ? jsonChildren(tree, node, module) : NO_CHILDREN,
    origin: jsonOrigin(node),
    tree,
    node,
  };
}

const NO_CHILDREN: readonly DataNode[] = [];

/** RFC 7951 section 6.9: a leaf of type empty is `[null]`. */
function isEmptyLeaf(node: TreeNode): boolean {
  return (
    node.children.length === 1 && node.children[0]!.value === 'null' && node.children[0]!.kind === 'literal'
  );
}

function jsonOrigin(node: TreeNode): string | null {
  const notes = node.children.find(({ name }) => name === '@');
  const origin = notes?.children.find(({ name }) => name === 'ietf-origin:origin')?.value ?? null;
  return origin && withoutPrefix(origin);
}

/** An identity without the module or prefix in front: `ianaift:l2vlan` is `l2vlan`. */
export function withoutPrefix(identity: string): string {
  return identity.slice(identity.indexOf(':') + 1);
}

export function child(node: DataNode, name: string): DataNode | undefined {
  return node.children.find((candidate) => candidate.name === name);
}

export function childrenNamed(node: DataNode | undefined, name: string): DataNode[] {
  return node === undefined ? [] : node.children.filter((candidate) => candidate.name === name);
}

/** The text of a leaf at a path below a node. */
export function leaf(node: DataNode | undefined, ...path: readonly string[]): string | null {
  let at = node;
  for (const name of path) at = at === undefined ? undefined : child(at, name);
  return at?.text ?? null;
}

export function placeOf(node: DataNode): Span {
  return spanOf(node.tree, node.node);
}
