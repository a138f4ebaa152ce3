/**
 * nftables: rulesets as a gateway keeps them (text) and as `nft -j list ruleset` prints them (JSON).
 * It must never throw for a statement it does not know: that becomes an opaque part with its place.
 */
export { nftables, rulesetRoots } from './dialect.ts';
