/** Writes grafts into nftables rulesets kept as text. It must never touch what a graft does not name. */
export { nftablesWriter } from './writer.ts';
