/** So many wrong tokens from one address in so many milliseconds, then it is not heard for the rest of them. */
const ALLOWED = 10;
const WINDOW = 60_000;
/** Addresses remembered at most; the oldest is forgotten first. */
const ADDRESSES = 10_000;

/** An IPv6 customer has a whole /64 (RFC 6177): all of it counts as one address. */
function groupOf(address: string): string {
  const plain = address.replace(/^::ffff:(?=\d+\.)/, '').replace(/%.*$/, '');
  if (!plain.includes(':')) return plain;
  const [head = '', tail] = plain.split('::');
  const left = head === '' ? [] : head.split(':');
  const right = tail === undefined || tail === '' ? [] : tail.split(':');
  const zeros = tail === undefined ? 0 : 8 - left.length - right.length;
  const groups = [...left, ...Array<string>(Math.max(0, zeros)).fill('0'), ...right];
  return groups
    .slice(0, 4)
    .map((group) => Number.parseInt(group, 16))
    .join(':');
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
