import { usesSemicolons } from './braces.ts';
import type { Tree, TreeNode } from './node.ts';

/** A node to be written. A `TreeNode` of any tree of the same format will do. */
export interface NewNode {
  readonly kind?: TreeNode['kind'];
  readonly name: string;
  /** One text. Ignored where there are children, in JSON and XML. */
  readonly value?: string | null;
  /** Words after the name, in braces, indentation and INI section formats; goes before `value`. */
  readonly words?: readonly string[] | null;
  readonly attributes?: readonly { readonly name: string; readonly value: string }[];
  readonly namespace?: string | null;
  readonly children?: readonly NewNode[];
}

/** How a tree is laid out, so that what is added looks like what is there. */
export interface Layout {
  readonly newline: string;
  /** One level of indentation. */
  readonly unit: string;
  readonly semicolons: boolean;
}

/** The layout of a tree, seen in its text. */
export function layoutOf(tree: Tree): Layout {
  const { text } = tree.source;
  return {
    newline: text.includes('\r\n') ? '\r\n' : '\n',
    unit: /^(?:\t| {1,8})(?=\S)/m.exec(text)?.[0] ?? '  ',
    semicolons: tree.format === 'braces' && usesSemicolons(text),
  };
}

/**
 * The text of a new node, its first line without indentation, further lines indented by `indent` and more.
 * `parent` is the node it goes into: JSON needs to know whether that is a list, XML its namespace.
 */
export function render(
  tree: Tree,
  node: NewNode,
  indent: string,
  layout: Layout,
  parent: Pick<NewNode, 'kind' | 'namespace'>,
): string {
  const children = node.children ?? [];
  const inner = indent + layout.unit;
  const sub = (child: NewNode) => render(tree, child, inner, layout, node);
  const line = layout.newline;
  switch (tree.format) {
    case 'json': {
      const key = parent.kind === 'list' ? '' : `${JSON.stringify(node.name)}: `;
      const isList = node.kind === 'list';
      if (!isList && node.kind !== 'object' && children.length === 0) return key + scalar(node);
      if (children.length === 0) return key + (isList ? '[]' : '{}');
      const body = children.map((child) => `${line}${inner}${sub(child)}`).join(',');
      return `${key}${isList ? '[' : '{'}${body}${line}${indent}${isList ? ']' : '}'}`;
    }
    case 'xml': {
      const known = (node.attributes ?? []).filter(({ name }) => name !== 'xmlns');
      const space =
        node.namespace && node.namespace !== parent.namespace
          ? [{ name: 'xmlns', value: node.namespace }]
          : [];
      const tag = node.name + [...space, ...known].map((a) => ` ${a.name}="${escapeXml(a.value)}"`).join('');
      if (children.length > 0) {
        return `<${tag}>${children.map((child) => `${line}${inner}${sub(child)}`).join('')}${line}${indent}</${node.name}>`;
      }
      return node.value == null ? `<${tag}/>` : `<${tag}>${escapeXml(node.value)}</${node.name}>`;
    }
    case 'ini': {
      if (node.kind !== 'section')
        return node.kind === 'statement' ? head(node) : `${node.name}=${node.value ?? ''}`;
      return [`[${head(node)}]`, ...children.map((child) => render(tree, child, '', layout, node))].join(
        line,
      );
    }
    case 'braces': {
      const end = layout.semicolons ? ';' : '';
      if (children.length === 0) return head(node) + end;
      return `${head(node)} {${children.map((child) => `${line}${inner}${sub(child)}`).join('')}${line}${indent}}`;
    }
    case 'indentation':
      return head(node) + children.map((child) => `${line}${inner}${sub(child)}`).join('');
  }
}

function head(node: NewNode): string {
  const words = node.words ?? (node.value == null ? [] : [node.value]);
  return [node.name, ...words].map(quoteWord).join(' ');
}

/** A word as it must stand in a statement: quoted when it holds a blank or a mark of the format. */
export function quoteWord(word: string): string {
  return word === '' || /[\s{};"'#]/.test(word) ? `"${word.replace(/(["\\])/g, '\\$1')}"` : word;
}

function scalar(node: NewNode): string {
  const value = node.value ?? null;
  if (value === null) return 'null';
  return node.kind === 'number' || node.kind === 'literal' ? value : JSON.stringify(value);
}

export function escapeXml(value: string): string {
  return value.replace(/&/g, '&amp;').replace(/</g, '&lt;').replace(/>/g, '&gt;').replace(/"/g, '&quot;');
}
