import type { Tree, TreeAttribute, TreeNode } from './node.ts';
import type { NewNode } from './render.ts';

/** An object's node in its tree: what an edit needs to know of it. */
export interface Stand {
  readonly tree: Tree;
  readonly node: TreeNode;
}

/** The node that a node is a child of; the root of the tree for the topmost, undefined for the root itself. */
export function parentOf({ tree, node }: Stand): TreeNode | undefined {
  let at = tree.root;
  while (at !== node) {
    const inner = at.children.find((child) => child.start <= node.start && child.end >= node.end);
    if (inner === undefined) return undefined;
    if (inner === node) return at;
    at = inner;
  }
  return undefined;
}

/**
 * A node as it can stand in another file of the format. In XML it takes along the namespace prefixes that its
 * attributes and values use (identities such as `ianaift:l2vlan` lean on them, RFC 7950 section 9.10.3).
 */
export function copyOf(stand: Stand): NewNode {
  if (stand.tree.format !== 'xml') return stand.node;
  const used = new Set<string>();
  notePrefixes(stand.node, used);
  const declared = stand.node.attributes.map(({ name }) => name);
  const carried = declarationsAt(stand).filter(
    ({ name }) => used.has(name.slice('xmlns:'.length)) && !declared.includes(name),
  );
  return { ...stand.node, attributes: [...carried, ...stand.node.attributes] };
}

function notePrefixes(node: TreeNode, used: Set<string>): void {
  for (const { name, value } of node.attributes) {
    for (const text of [name, value]) used.add(prefixOf(text));
  }
  used.add(prefixOf(node.value ?? ''));
  for (const child of node.children) notePrefixes(child, used);
}

function prefixOf(text: string): string {
  return /^([A-Za-z_][\w.-]*):[A-Za-z_]/.exec(text)?.[1] ?? '';
}

/** The prefix declarations in force above a node, the nearest of each name. */
function declarationsAt({ tree, node }: Stand): TreeAttribute[] {
  const found = new Map<string, TreeAttribute>();
  for (let at = parentOf({ tree, node }); at !== undefined; at = parentOf({ tree, node: at })) {
    for (const attribute of at.attributes) {
      if (attribute.name.startsWith('xmlns:') && !found.has(attribute.name))
        found.set(attribute.name, attribute);
    }
  }
  return [...found.values()];
}
