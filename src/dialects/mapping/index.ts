/**
 * Mapping files: they teach where rules, objects, NAT and routes stand in a generic tree, so that a text Tuckpoint has
 * never seen becomes a typed configuration with a policy. It must never run code from a mapping file.
 */
export { dialectFromMapping, standOf } from './dialect.ts';
export type { Mapping } from './schema.ts';
