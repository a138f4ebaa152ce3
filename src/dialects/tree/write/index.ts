/** Writes grafts into configurations read from a tree. It must never know what a node means, only where it stands. */
export { type StandOf, treeWriter } from './writer.ts';
