import type { Value } from '#core/config';
import { type TreeNode, wordsOf } from './node.ts';

/**
 * What stands below a node, in comparable form: a text, a list of texts, or fields by name. Entries of one name that
 * have words and children of their own are fields by name and words; all else of one name is a list in order. Numbers and
 * literals of JSON are other values than strings that read alike.
 */
export function treeValue(node: TreeNode): Value {
  if (node.kind === 'list') return node.children.map(treeValue);
  if (node.children.length === 0 && node.attributes.length === 0 && node.kind !== 'object')
    return leafValue(node);
  const fields = new Map<string, Value>();
  for (const { name, value } of node.attributes) fields.set(`@${name}`, value);
  if (node.kind === 'element' && node.value !== null) fields.set('.', node.value);
  const groups = new Map<string, TreeNode[]>();
  for (const child of node.children) {
    const own = child.children.length > 0 && wordsOf(child).length > 0 && child.kind !== 'element';
    const key = own ? `${child.name} ${child.value}` : child.name;
    const known = groups.get(key);
    if (known === undefined) groups.set(key, [child]);
    else known.push(child);
  }
  for (const [key, children] of groups) {
    const values = children.map(treeValue);
    fields.set(key, values.length === 1 ? values[0]! : values);
  }
  // From entries, not by assignment: a key such as __proto__ is data here.
  return Object.fromEntries(fields);
}

function leafValue({ kind, value }: TreeNode): Value {
  if (value === null) return true;
  if (kind === 'literal') return JSON.parse(value) as boolean | null;
  // A number that the language cannot hold stays as it is written.
  return kind === 'number' && String(Number(value)) === value ? Number(value) : value;
}

/** The name of a node with its words, as a person would say it. */
export function titleOf(node: TreeNode): string {
  const hasWords = node.kind === 'statement' || (node.children.length > 0 && node.kind !== 'element');
  const words = hasWords ? wordsOf(node) : [];
  return [node.name === '' ? 'entry' : node.name, ...words].join(' ').slice(0, 200);
}
