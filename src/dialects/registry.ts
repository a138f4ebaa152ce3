import type { Dialect, SourceFile } from '#core/config';
import { TuckpointError } from '#core/errors';
import { ietf } from './ietf/index.ts';
import { iptables } from './iptables/index.ts';
import { ifupdown, networkd } from './linux-interfaces/index.ts';
import { nftables } from './nftables/index.ts';
import { tree } from './tree/index.ts';

/** Every dialect Tuckpoint reads; the generic tree last, for what no other knows. Mapping files add to them. */
export const dialects: readonly Dialect[] = [nftables, iptables, ietf, ifupdown, networkd, tree];

/**
 * The dialect with this name.
 * @throws TuckpointError `dialects/unknown`.
 */
export function dialectNamed(name: string): Dialect {
  const found = dialects.find((dialect) => dialect.name === name);
  if (found !== undefined) return found;
  throw new TuckpointError('dialects/unknown', `There is no dialect called ${name}.`, {
    advice: `Use one of ${dialects.map((dialect) => dialect.name).join(', ')}.`,
  });
}

/**
 * The dialect that recognises the files best (the mean over the files, the earlier in the registry on a tie),
 * or null when none recognises any of them.
 */
export function dialectFor(files: readonly SourceFile[]): Dialect | null {
  let best: Dialect | null = null;
  let surest = 0;
  for (const dialect of dialects) {
    const sum = files.reduce((total, file) => total + dialect.recognises(file), 0);
    if (sum > surest) {
      best = dialect;
      surest = sum;
    }
  }
  return best;
}
