/**
 * iptables: the rules that iptables-save and ip6tables-save print. It reads into the same ruleset as nftables does.
 * It must never throw for a match or target it does not know: that becomes a named unknown or an opaque part.
 */
export { iptables } from './dialect.ts';
