/** A number in [0, 1) that depends on the words alone: FNV-1a over them, then a mixing step. */
export function seeded(...words: readonly (string | number)[]): number {
  let hash = 0x811c9dc5;
  for (const character of words.join(' ')) {
    hash = Math.imul(hash ^ character.charCodeAt(0), 0x01000193);
  }
  hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b);
  hash = Math.imul(hash ^ (hash >>> 13), 0xc2b2ae35);
  return ((hash ^ (hash >>> 16)) >>> 0) / 0x1_0000_0000;
}
