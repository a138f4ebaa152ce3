import type { ConfigObject, Mention, WriteJob } from '#core/config';
import { copyOf, type Stand } from '../copy.ts';
import type { TreeNode } from '../node.ts';
import type { NewNode } from '../render.ts';

/** A node being made for the target; children may still be added to it. */
export type Growing = { -readonly [K in keyof Omit<NewNode, 'children'>]: NewNode[K] } & {
  children: Growing[];
};

/**
 * A copy of an object's node for the target: under its new name, with mentions by theirs, and without the nodes in
 * `without` (parts that are carried on their own, or not at all).
 */
export function copied(
  job: WriteJob,
  object: ConfigObject,
  stand: Stand,
  rename: { readonly from: string; readonly to: string } | null,
  without: ReadonlySet<TreeNode>,
): Growing {
  const mentions = [object, ...job.source.contentsOf(object)].flatMap((one) => job.mentionsIn(one));
  const made = grown(stand.node, mentions, without);
  const whole = copyOf(stand);
  if (whole !== stand.node && whole.attributes !== undefined) made.attributes = whole.attributes;
  if (rename !== null && rename.from !== rename.to) renameFirst(made, rename.from, rename.to);
  return made;
}

function grown(node: TreeNode, mentions: readonly Mention[], without: ReadonlySet<TreeNode>): Growing {
  const inside = mentions.filter(({ place }) => place.start >= node.start && place.end <= node.end);
  const children = node.children
    .filter((child) => !without.has(child))
    .map((child) => grown(child, inside, without));
  const made: Growing = { ...node, children };
  for (const { place, from, to } of inside) {
    const deeper = node.children.some((child) => place.start >= child.start && place.end <= child.end);
    if (!deeper || place.start === node.start) replaceWord(made, from, to);
  }
  return made;
}

function replaceWord(node: Growing, from: string, to: string): void {
  const word = (text: string) => (text === from ? to : text);
  node.name = word(node.name);
  if (node.words != null) node.words = node.words.map(word);
  if (node.value != null) {
    const value = node.value;
    node.value = value === from ? to : value.split(' ').map(word).join(' ');
  }
  if (node.attributes !== undefined)
    node.attributes = node.attributes.map((one) => ({ ...one, value: word(one.value) }));
}

/** The first part that holds the name, from the top: that is how a name is found without knowing the language. */
function renameFirst(node: Growing, from: string, to: string): boolean {
  const holds =
    node.name === from ||
    node.value === from ||
    node.words?.includes(from) === true ||
    node.attributes?.some(({ value }) => value === from) === true;
  if (holds) {
    replaceWord(node, from, to);
    return true;
  }
  return node.children.some((child) => renameFirst(child, from, to));
}
