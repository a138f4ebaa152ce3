import { boxesOverlap } from './fields.ts';
import type { Interest } from './program.ts';

/** Above this many regions pairing them up costs more than looking at all at once. */
const MOST_REGIONS = 3000;

/** Regions that hang together by shared packets. What happens in one cluster does not touch another. */
export function clustersOf(interests: readonly Interest[]): Interest[][] {
  if (interests.length > MOST_REGIONS) return [[...interests]];
  const parent = interests.map((_, i) => i);
  const rootOf = (i: number): number => {
    let root = i;
    while (parent[root] !== root) root = parent[root]!;
    parent[i] = root;
    return root;
  };
  for (let i = 0; i < interests.length; i++) {
    for (let j = 0; j < i; j++) {
      if (rootOf(i) !== rootOf(j) && boxesOverlap(interests[i]!.box, interests[j]!.box)) {
        parent[rootOf(i)] = rootOf(j);
      }
    }
  }
  const clusters = new Map<number, Interest[]>();
  for (const [i, interest] of interests.entries()) {
    const cluster = clusters.get(rootOf(i));
    if (cluster === undefined) clusters.set(rootOf(i), [interest]);
    else cluster.push(interest);
  }
  return [...clusters.values()];
}
