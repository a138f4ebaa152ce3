import { familyOf, parseAddress } from '#core/address';

/** So many wrong tokens from one address in so many milliseconds, then it is not heard for the rest of them. */
const ALLOWED = 10;
const WINDOW = 60_000;
/** Addresses remembered at most; the oldest is forgotten first. */
const ADDRESSES = 10_000;

/** An IPv6 customer has a whole /64 (RFC 6177): all of it counts as one address. */
function groupOf(address: string): string {
  // An IPv4 sender on a socket for both versions, and the zone of a link-local one (RFC 4007 section 11).
  const plain = address.replace(/^::ffff:(?=\d+\.)/, '').replace(/%.*$/, '');
  const words = parseAddress(plain);
  return words !== undefined && familyOf(words) === 6 ? words.slice(0, 2).join() : plain;
}

/** Counts wrong tokens by address. While an address is over the limit, right and wrong tokens get the same answer. */
export class WrongTokens {
  readonly #counts = new Map<string, { since: number; count: number }>();

  /** Milliseconds for which this address is not heard; 0 when it is. `now` in milliseconds of a clock that never goes back. */
  closedFor(address: string, now: number): number {
    const seen = this.#counts.get(groupOf(address));
    if (seen === undefined || now - seen.since >= WINDOW || seen.count < ALLOWED) return 0;
    return seen.since + WINDOW - now;
  }

  note(address: string, now: number): void {
    const group = groupOf(address);
    const seen = this.#counts.get(group);
    this.#counts.delete(group);
    this.#counts.set(
      group,
      seen === undefined || now - seen.since >= WINDOW
        ? { since: now, count: 1 }
        : { ...seen, count: seen.count + 1 },
    );
    if (this.#counts.size > ADDRESSES) this.#counts.delete(this.#counts.keys().next().value!);
  }
}
