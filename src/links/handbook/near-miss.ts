/** The known word nearest to `word`, where it is near enough to be a slip of the hand; otherwise undefined. */
export function nearMiss(word: string, known: readonly string[]): string | undefined {
  let best: string | undefined;
  let least = Math.max(1, Math.floor(word.length / 3)) + 1;
  for (const candidate of known) {
    const far = distance(word.toLowerCase(), candidate.toLowerCase());
    if (far < least) [best, least] = [candidate, far];
  }
  return best;
}

/** Edits (insert, delete, replace one letter, swap two neighbours) between two words: optimal string alignment. */
function distance(a: string, b: string): number {
  let before: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, at) => at);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const same = a[i - 1] === b[j - 1] ? 0 : 1;
      let least = Math.min(last[j]! + 1, row[j - 1]! + 1, last[j - 1]! + same);
      if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1])
        least = Math.min(least, before[j - 2]! + 1);
      row.push(least);
    }
    [before, last] = [last, row];
  }
  return last[b.length]!;
}

/** ` Did you mean "x"?`, or nothing. */
export function suggestion(word: string, known: readonly string[]): string {
  const near = nearMiss(word, known);
  return near === undefined ? '' : ` Did you mean "${near}"?`;
}
