/** The names most like a wanted one, best first; letters' case does not count. At most `count`. */
export function nearNames(wanted: string, names: Iterable<string>, count = 5): string[] {
  const bare = plain(wanted);
  const scored = [...new Set(names)].map((name) => ({ name, score: score(bare, plain(name)) }));
  return scored
    .filter(({ score: s }) => s <= Math.max(2, bare.length / 2))
    .sort((a, b) => a.score - b.score || (a.name < b.name ? -1 : 1))
    .slice(0, count)
    .map(({ name }) => name);
}

const plain = (text: string): string => text.toLowerCase().replace(/[*?"'$@]/g, '');

/** A name that holds the wanted one, or is held by it, counts as near. */
function score(wanted: string, name: string): number {
  if (wanted !== '' && (name.includes(wanted) || (name !== '' && wanted.includes(name)))) {
    return Math.abs(name.length - wanted.length) / 100;
  }
  return editDistance(wanted.slice(0, 60), name.slice(0, 60));
}

/** Levenshtein's distance, row by row. */
function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, i) => i);
  for (let i = 1; i <= a.length; i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) {
      const changed = row[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1);
      next.push(Math.min(changed, row[j]! + 1, next[j - 1]! + 1));
    }
    row = next;
  }
  return row[b.length]!;
}
