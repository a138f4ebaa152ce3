/**
 * Named priorities of base chains, per family: the constants NF_IP_PRI_* and NF_BR_PRI_* of the Linux headers
 * netfilter_ipv4.h and netfilter_bridge.h, as tabled in nft(8), "Standard priority names".
 */
const IP: Readonly<Record<string, number>> = {
  raw: -300,
  mangle: -150,
  dstnat: -100,
  filter: 0,
  security: 50,
  srcnat: 100,
};

const BRIDGE: Readonly<Record<string, number>> = { dstnat: -300, filter: -200, out: 100, srcnat: 300 };

/** Where connection tracking looks at a packet (NF_IP_PRI_CONNTRACK): chains before it see no state. */
export const CONNTRACK_PRIORITY = -200;

/** The value of `filter`, `-150`, `dstnat + 5` or `filter-10`; null when the name is not known. */
export function hookPriority(family: string, text: string): number | null {
  const parts = /^(-?\d+|[a-z]+)\s*(?:([+-])\s*(\d+))?$/.exec(text.trim());
  if (parts === null) return null;
  const [, base = '', sign, offset] = parts;
  const names = family === 'bridge' ? BRIDGE : IP;
  const value = /\d/.test(base) ? Number(base) : names[base];
  if (value === undefined) return null;
  return sign === undefined ? value : value + (sign === '+' ? 1 : -1) * Number(offset);
}
