/**
 * Works on a few items at once and gives the results in the order of the items, each as soon as those before it are there.
 * No more than `most` results wait at a time. What the work throws is thrown at its place; nothing is begun after that.
 */
export async function* inOrder<T, R>(
  items: Iterable<T>,
  most: number,
  work: (item: T) => Promise<R>,
): AsyncGenerator<R, void, undefined> {
  const begun: Promise<R>[] = [];
  for (const item of items) {
    const result = work(item);
    // Whoever comes to it hears of an error; until then it must not count as one that nobody hears.
    result.catch(() => {});
    begun.push(result);
    if (begun.length >= most) yield await begun.shift()!;
  }
  for (const result of begun) yield await result;
}
