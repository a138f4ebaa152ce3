/**
 * Captured bytes as text with places, and text edits back into bytes. Every dialect reads through this door.
 * It must never know a configuration language.
 */
export { decode, encode, LARGEST_FILE } from './decode.ts';
export { applyEdits } from './edit.ts';
export { endsInPattern } from './glob.ts';
export { excerpt, Lines, shorten } from './lines.ts';
export { Words } from './seen-words.ts';
