/**
 * IPv4 and IPv6 addresses, prefixes, ranges, and sets of addresses and small numbers.
 * This room must never know what an address is used for, and never ask a name server.
 */
export {
  type Address,
  compareAddresses,
  type Family,
  highestAddress,
  nextAddress,
  previousAddress,
} from './address.ts';
export {
  type AddressRange,
  type AddressSet,
  addressSet,
  everyAddress,
  exceptAddresses,
  hasAddress,
  intersectAddresses,
  isEveryAddress,
  noAddress,
  uniteAddresses,
} from './address-set.ts';
export {
  exceptNumbers,
  hasNumber,
  intersectNumbers,
  type NumberSet,
  numberSet,
  numbers,
  pairsOf,
  uniteNumbers,
} from './number-set.ts';
export {
  formatAddresses,
  formatRange,
  type Prefix,
  parseAddresses,
  prefixesOfRange,
  prefixLengthOf,
  prefixSet,
  rangeOfPrefix,
} from './prefix.ts';
export { familyOf, formatAddress, parseAddress } from './text.ts';
