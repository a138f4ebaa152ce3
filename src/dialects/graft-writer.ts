import type { Dialect, GraftWriter } from '#core/config';
import { TuckpointError } from '#core/errors';
import { ietf, standOf as standInData } from './ietf/index.ts';
import { iptables } from './iptables/index.ts';
import { iptablesWriter } from './iptables/write/index.ts';
import { ifupdown, networkd } from './linux-interfaces/index.ts';
import { standOf as standByMapping } from './mapping/index.ts';
import { nftables } from './nftables/index.ts';
import { nftablesWriter } from './nftables/write/index.ts';
import { tree } from './tree/index.ts';
import { treeWriter } from './tree/write/index.ts';

const WRITERS: ReadonlyMap<Dialect, GraftWriter> = new Map([
  [nftables, nftablesWriter],
  [iptables, iptablesWriter],
  [ietf, treeWriter(standInData)],
]);

/** Read, but not written: their parts can be looked at and compared only. */
const READ_ONLY: ReadonlySet<Dialect> = new Set([ifupdown, networkd, tree]);

/**
 * The writer of a dialect's grafts; dialects of mapping files share one.
 * @throws TuckpointError `dialects/cannot-write` for a language that is read only.
 */
export function graftWriterFor(dialect: Dialect): GraftWriter {
  if (READ_ONLY.has(dialect)) {
    throw new TuckpointError('dialects/cannot-write', `Grafts into ${dialect.title} are not written.`, {
      advice: 'Take parts that stand in another file, or carry these by hand.',
    });
  }
  return WRITERS.get(dialect) ?? treeWriter(standByMapping);
}
