import { type ConfigObject, type Dialect, objectId, type SourceFile } from '#core/config';
import { applyEdits } from '#dialects/source';
import { guessFormat } from './guess.ts';
import type { Tree, TreeNode } from './node.ts';
import { readTree, spanOf } from './read.ts';
import { titleOf, treeValue } from './value.ts';

/** Containers around everything in XML and JSON are passed through: what stands in them are the sections. */
function topOf(tree: Tree): {
  readonly nodes: readonly TreeNode[];
  readonly path: string;
  /** Those passed through that say something themselves. */
  readonly around: readonly TreeNode[];
} {
  let at = tree.root;
  const path: string[] = [];
  const around: TreeNode[] = [];
  while (
    at.children.length === 1 &&
    at.children[0]!.children.length > 0 &&
    (tree.format === 'xml' || tree.format === 'json')
  ) {
    at = at.children[0]!;
    path.push(at.name);
    if (at.attributes.length > 0 || at.value !== null) around.push(at);
  }
  return { nodes: at.children, path: path.filter((name) => name !== '').join('/'), around };
}

/** The top-level parts of a file. Their identity holds the file's name: two files may have a part of one name. */
function objectsOf(file: SourceFile): ConfigObject[] {
  const tree = readTree(file);
  const { nodes, path, around } = topOf(tree);
  const section = (node: TreeNode, name: string, order: ConfigObject['order'] = null): ConfigObject => ({
    id:
      order === null
        ? objectId('section', `${file.name} ${name}`)
        : objectId('section', order.list, order.position),
    kind: 'section',
    name,
    section: file.name,
    place: spanOf(tree, node),
    value: treeValue(node),
    order,
    comment: null,
    references: [],
  });
  const list = `${file.name} ${path} entries`.replace('  ', ' ');
  return [
    ...around.map((node) =>
      section({ ...node, end: node.children[0]!.start, children: [] }, `${node.name} itself`),
    ),
    ...nodes.map((node, position) =>
      node.name === ''
        ? section(node, `${list} ${position}`, { list, position })
        : section(node, `${path} ${titleOf(node)}`.trim()),
    ),
  ];
}

/** Any INI, XML, JSON, braces or indentation text, as sections. It knows no rules, so it never has a policy. */
export const tree: Dialect = {
  name: 'tree',
  title: 'any text in sections: INI, XML, JSON, braces, indentation (no rules; a mapping file teaches them)',
  // Below every dialect that knows its language.
  recognises: ({ text }) => 0.55 * (guessFormat(text)[0]?.confidence ?? 0),
  read(files) {
    const objects = files.flatMap(objectsOf);
    return { dialect: 'tree', files, objects, opaque: [], syntax: null };
  },
  policy: () => null,
  write: applyEdits,
};
