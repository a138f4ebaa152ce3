import type { Edit } from '#core/config';
import { type Tree, type TreeNode, wordsOf } from './node.ts';
import { escapeXml, layoutOf, type NewNode, quoteWord, render } from './render.ts';

function edit(tree: Tree, start: number, end: number, text: string): Edit {
  return { place: tree.source.span(start, end), text };
}

/** Gives a node another value, touching nothing else. A node without one gets it behind its name. */
export function setValue(tree: Tree, node: TreeNode, value: string): Edit {
  const raw = rawValue(tree, node, value);
  if (node.valueStart >= 0) return edit(tree, node.valueStart, node.valueEnd, raw);
  if (tree.format === 'xml') {
    // Only an empty element has no span: `<a/>` becomes `<a>value</a>`.
    const slash = tree.source.text.lastIndexOf('/', node.end);
    return edit(tree, slash, node.end, `>${raw}</${rawName(tree, node)}>`);
  }
  const at = node.start + (/^[^\s{};]+/.exec(tree.source.text.slice(node.start, node.end))?.[0].length ?? 0);
  return edit(tree, at, at, ` ${raw}`);
}

/** Gives an attribute of an XML element another value. */
export function setAttribute(tree: Tree, attribute: TreeNode['attributes'][number], value: string): Edit {
  return edit(tree, attribute.start, attribute.end, escapeXml(value).replace(/'/g, '&apos;'));
}

function rawValue(tree: Tree, node: TreeNode, value: string): string {
  if (tree.format === 'xml') return escapeXml(value);
  if (tree.format === 'json') {
    const keeps = node.kind === 'number' || node.kind === 'literal';
    return keeps && /^(?:-?\d+(?:\.\d+)?|true|false|null)$/.test(value) ? value : JSON.stringify(value);
  }
  if (tree.format === 'ini' && node.kind === 'string') return value;
  return value.split(' ').length === wordsOf(node).length ? value : quoteWord(value);
}

/** Removes a child of `parent`, with its line where it stands alone on it, and its comma in JSON. */
export function removeNode(tree: Tree, parent: TreeNode, node: TreeNode): Edit {
  const { text } = tree.source;
  if (tree.format === 'json') {
    const index = parent.children.indexOf(node);
    const next = parent.children[index + 1];
    const previous = parent.children[index - 1];
    if (next !== undefined) return edit(tree, node.start, next.start, '');
    if (previous !== undefined) return edit(tree, previous.end, node.end, '');
    return edit(tree, parent.valueStart + 1, parent.valueEnd - 1, '');
  }
  const lineStart = text.lastIndexOf('\n', node.start - 1) + 1;
  const newline = text.indexOf('\n', node.end);
  const lineEnd = newline === -1 ? text.length : newline + 1;
  const alone =
    text.slice(lineStart, node.start).trim() === '' && text.slice(node.end, lineEnd).trim() === '';
  return alone ? edit(tree, lineStart, lineEnd, '') : edit(tree, node.start, node.end, '');
}

/**
 * Adds a node as child number `index` of `parent` (the number of children: at the end), laid out like its
 * neighbours.
 */
export function insertNode(tree: Tree, parent: TreeNode, index: number, node: NewNode): Edit {
  const { text } = tree.source;
  const layout = layoutOf(tree);
  const neighbour = parent.children[index] ?? parent.children.at(-1);
  if (neighbour === undefined) return insertFirst(tree, parent, node);

  const lineStart = text.lastIndexOf('\n', neighbour.start - 1) + 1;
  const before = text.slice(lineStart, neighbour.start);
  const ownLine = before.trim() === '';
  const indent = ownLine ? before : indentOf(text, lineStart);
  const body = render(tree, node, indent, layout, surroundings(tree, parent));
  const comma = tree.format === 'json' ? ',' : '';
  const gap =
    ownLine || tree.format === 'ini' || tree.format === 'indentation'
      ? layout.newline + indent
      : tree.format === 'xml'
        ? ''
        : ' ';
  if (index < parent.children.length) return edit(tree, neighbour.start, neighbour.start, body + comma + gap);
  const at = tree.format === 'json' ? neighbour.end : endOfLineComment(text, neighbour.end);
  return edit(tree, at, at, comma + gap + body);
}

function insertFirst(tree: Tree, parent: TreeNode, node: NewNode): Edit {
  const { text } = tree.source;
  const layout = layoutOf(tree);
  const indent = indentOf(text, text.lastIndexOf('\n', parent.start - 1) + 1);
  if (parent.kind === 'root') {
    const gap = text === '' || text.endsWith('\n') ? '' : layout.newline;
    return edit(
      tree,
      text.length,
      text.length,
      gap + render(tree, node, '', layout, parent) + layout.newline,
    );
  }
  const inner = tree.format === 'ini' ? '' : indent + layout.unit;
  const body = render(tree, node, inner, layout, surroundings(tree, parent));
  const before = layout.newline + inner + body;
  const after = layout.newline + indent;
  switch (tree.format) {
    case 'json':
      return edit(tree, parent.valueStart + 1, parent.valueEnd - 1, before + after);
    case 'xml': {
      if (parent.valueStart >= 0) {
        const bodyEnd = text.lastIndexOf('</', parent.end);
        return edit(tree, parent.valueStart, bodyEnd, before + after);
      }
      const slash = text.lastIndexOf('/', parent.end);
      return edit(tree, slash, parent.end, `>${before}${after}</${rawName(tree, parent)}>`);
    }
    case 'braces': {
      const closing = parent.end - 1;
      if (text[closing] === '}') {
        const opening = text.indexOf('{', Math.max(parent.start, parent.valueEnd));
        const blank = text.slice(opening + 1, closing).trim() === '';
        return edit(tree, blank ? opening + 1 : closing, closing, before + after);
      }
      const end = text[closing] === ';' ? closing : parent.end;
      return edit(tree, end, parent.end, ` {${before}${after}}`);
    }
    default:
      return edit(tree, parent.end, parent.end, before);
  }
}

function rawName(tree: Tree, node: TreeNode): string {
  return /^<([^\s/>]+)/.exec(tree.source.text.slice(node.start, node.end))?.[1] ?? node.name;
}

function indentOf(text: string, lineStart: number): string {
  return /^[ \t]*/.exec(text.slice(lineStart, lineStart + 200))![0];
}

/** The end of the line if only a comment follows on it: what is added goes below the comment, not between. */
function endOfLineComment(text: string, from: number): number {
  const newline = text.indexOf('\n', from);
  const end = newline === -1 ? text.length : newline;
  const rest = text.slice(from, end).trimEnd();
  return /^\s*(?:#|\/\/|;\s*(?:#|\/\/)).*$/.test(rest) ? from + rest.length : from;
}

/** What a new child needs to know. An element written with a prefix does not give its namespace to its children. */
function surroundings(tree: Tree, parent: TreeNode): Pick<NewNode, 'kind' | 'namespace'> {
  const prefixed = tree.format === 'xml' && rawName(tree, parent).includes(':');
  return prefixed ? { kind: parent.kind, namespace: null } : parent;
}
