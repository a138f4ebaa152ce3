export const secondsSince = (since: number) => (performance.now() - since) / 1000;
export const median = (numbers: readonly number[]) =>
  [...numbers].sort((a, b) => a - b)[numbers.length >> 1] ?? Number.NaN;
export const mb = (bytes: number) => round(bytes / 1e6);
export const round = (n: number, digits = 2) => Number(n.toFixed(digits));
