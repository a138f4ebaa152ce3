import { counterBits, counterDifference, shortestWrapSeconds, type Told } from './counters.ts';
import { type Finding, percent, type Settled } from './finding.ts';
import { compareShares, type Share } from './proportions.ts';
import type { InterfaceReading, Reading } from './reading.ts';

/** Packets a second at which a 32-bit packet counter is taken to run at most: the case in RFC 2863 section 3.1.6 (4). */
const MOST_PACKETS_PER_SECOND = 650_000_000 / 8 / 64;

const SIDES = [
  { counter: 'inErrors', of: 'inPackets', word: 'errors in' },
  { counter: 'outErrors', of: 'outPackets', word: 'errors out' },
  { counter: 'inDiscards', of: 'inPackets', word: 'discards in' },
  { counter: 'outDiscards', of: 'outPackets', word: 'discards out' },
] as const;
type Side = (typeof SIDES)[number];

/**
 * Errors and discards of each interface as shares of its packets, before against after. Before: from boot to the first
 * reading. After: from boot to the second reading where the device booted in between, otherwise between the readings.
 * That counters start at 0 at boot is common practice; RFC 2578 section 7.1.6 does not promise it.
 */
export function compareErrors(
  before: Reading,
  after: Reading,
  booted: Told,
  settled: Settled,
): readonly Finding[] {
  return after.interfaces.flatMap((now) => {
    const then = before.interfaces.find((other) => other.name === now.name);
    if (then === undefined) return [];
    const findings = SIDES.map((side) => {
      const pair: Pair = { before, after, then, now, booted };
      return compareSide(side, pair, settled);
    });
    const notable = findings.filter((finding) => finding.judgement !== 'same');
    return notable.length > 0 ? notable : [allSame(then, now)];
  });
}

interface Pair {
  readonly before: Reading;
  readonly after: Reading;
  readonly then: InterfaceReading;
  readonly now: InterfaceReading;
  readonly booted: Told;
}

function compareSide(side: Side, pair: Pair, settled: Settled): Finding {
  const { then, now } = pair;
  const about = { kind: 'errors', what: `${side.word} on ${now.name}` } as const;
  const [a, b] = [then[side.counter], now[side.counter]];
  if (a === null || b === null) {
    const unread = { ...about, before: countText(a), after: countText(b), judgement: 'unknown' } as const;
    return { ...unread, why: 'The counter was not read both times.', decides: a !== null };
  }
  const [first, second, why] = shares(side, pair);
  const told = { ...about, before: shareText(first, a), after: shareText(second, b) };
  const test = first && second ? compareShares(first, second) : null;
  // None now is never worse; of how few packets only tells whether it is better.
  if (second?.count === 0 && test === null)
    return { ...told, after: 'none', judgement: 'same', why: 'None now.', decides: true };
  if (first === null || second === null || test === null) {
    return {
      ...told,
      judgement: 'unknown',
      why: why ?? 'No packets were counted to compare by.',
      decides: true,
    };
  }
  const rise = second.count / second.of - first.count / first.of;
  const real = test.p < settled.significance;
  const judgement =
    real && rise > settled.errorShare ? 'worse' : real && rise < -settled.errorShare ? 'better' : 'same';
  const word = judgement === 'same' ? 'No real change' : rise > 0 ? 'The share rose' : 'The share fell';
  return {
    ...told,
    judgement,
    why: `${word} (${test.by}, p = ${test.p.toPrecision(2)}, level ${settled.significance}; a change up to ${percent(settled.errorShare)} of the packets is let pass).`,
    decides: true,
  };
}

/** Both shares, null where a counter cannot be trusted, and why. */
function shares(side: Side, pair: Pair): [Share | null, Share | null, string | null] {
  const { then, now, booted, before, after } = pair;
  const whole = (reading: Reading, entry: InterfaceReading): Share | null =>
    trusted(reading, entry) ? shareOf(side, entry[side.counter]!, entry[side.of]) : null;
  const first = whole(before, then);
  const wrapped = 'Its packet counter has 32 bits and may have wrapped since boot (RFC 2863 section 3.1.6).';
  if (booted === 'unknown') return [first, null, 'Whether the device booted in between is not known.'];
  if (booted === 'yes') {
    const second = whole(after, now);
    return [first, second, trusted(before, then) && trusted(after, now) ? null : wrapped];
  }
  if ((then.discontinuity ?? null) !== (now.discontinuity ?? null)) {
    return [first, null, 'The device started these counters anew in between.'];
  }
  const [a, b] = [then[side.counter]!, now[side.counter]!];
  const moved = counterDifference(a, b, counterBits(side.counter, now, a, b));
  const [p, q] = [then[side.of], now[side.of]];
  const packets = p === null || q === null ? null : counterDifference(p, q, now.counterBits);
  return [first, shareOf(side, moved, packets), first === null ? wrapped : null];
}

function trusted(reading: Reading, { counterBits: bits }: InterfaceReading): boolean {
  if (bits === 64) return true;
  const { uptimeSeconds } = reading;
  return uptimeSeconds !== null && uptimeSeconds < shortestWrapSeconds(32, MOST_PACKETS_PER_SECOND);
}

/**
 * Packets in were delivered, so errors and discards come on top; packets out were requested, those that failed
 * included (RFC 2863 section 6, ifInUcastPkts and ifOutUcastPkts).
 */
function shareOf(side: Side, count: bigint, packets: bigint | null): Share | null {
  // None is none, of however many packets.
  if (count === 0n) return { count: 0, of: Number(packets ?? 0n) };
  if (packets === null) return null;
  const of = side.of === 'inPackets' ? packets + count : packets > count ? packets : count;
  return { count: Number(count), of: Number(of) };
}

function shareText(share: Share | null, count: bigint): string {
  if (share === null || share.of === 0) return countText(count);
  return share.count === 0
    ? 'none'
    : `${share.count} of ${share.of} packets (${percent(share.count / share.of)})`;
}

function countText(count: bigint | null): string {
  return count === null ? 'not read' : `${count}`;
}

function allSame(then: InterfaceReading, now: InterfaceReading): Finding {
  return {
    kind: 'errors',
    what: `errors and discards on ${now.name}`,
    before: totalsText(then),
    after: totalsText(now),
    judgement: 'same',
    why: 'No share of errors or discards really changed.',
    decides: true,
  };
}

function totalsText({ inErrors, outErrors, inDiscards, outDiscards }: InterfaceReading): string {
  const sum = (a: bigint | null, b: bigint | null) => (a === null || b === null ? 'some' : `${a + b}`);
  return `${sum(inErrors, outErrors)} errors, ${sum(inDiscards, outDiscards)} discards`;
}
