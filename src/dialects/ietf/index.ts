/**
 * IETF YANG instance data (XML and JSON): access lists, interfaces, addresses, routes and system settings.
 * It must never send or fetch anything, and never guess what a module it does not know would mean.
 */
export { ietf, standOf } from './dialect.ts';
