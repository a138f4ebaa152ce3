/** How many of the ascending values are at most `value`. */
export function countUpTo(ascending: ArrayLike<number>, value: number): number {
  let low = 0;
  let high = ascending.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (ascending[middle]! <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}
