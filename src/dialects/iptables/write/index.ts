/** Writes grafts into rules as iptables-save prints them, line by line. It must never touch lines a graft does not name. */
export { iptablesWriter } from './writer.ts';
