/**
 * The generic tree: INI, XML, JSON, braces and indentation text read into one shape with places, and small edits of
 * it back into text. It must never know what a node means: that is for a dialect or a mapping file.
 */
export { copyOf, parentOf, type Stand } from './copy.ts';
export { tree } from './dialect.ts';
export { insertNode, removeNode, setAttribute, setValue } from './edit.ts';
export { type FormatGuess, guessFormat } from './guess.ts';
export {
  MOST_NODES,
  type Tree,
  type TreeAttribute,
  type TreeFormat,
  type TreeNode,
  wordsOf,
} from './node.ts';
export { byteOffset, readTree, spanOf, TREE_FORMATS, walk } from './read.ts';
export type { NewNode } from './render.ts';
export { titleOf, treeValue } from './value.ts';
