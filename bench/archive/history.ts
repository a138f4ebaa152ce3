/** How much history to make. Sizes in bytes; `changes` is the share of days on which a device's configuration changes. */
export interface HistorySize {
  readonly devices: number;
  readonly days: number;
  readonly smallest: number;
  readonly largest: number;
  readonly changes: number;
}

/** A seeded source of numbers in [0, 1): mulberry32, public domain. */
export function seeded(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t = (t + Math.imul(t ^ (t >>> 7), t | 61)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

const pick = <T>(random: () => number, from: readonly T[]): T => from[Math.floor(random() * from.length)]!;
const upTo = (random: () => number, n: number) => Math.floor(random() * n);

/** One line of an invented configuration: rules, objects and some lines of random hexadecimal (keys, hashes). */
function line(random: () => number): string {
  const zone = () => pick(random, ['quay', 'deck', 'office', 'pump', 'guest', 'uplink']);
  const net = () => `10.${upTo(random, 256)}.${upTo(random, 256)}.0/24`;
  const kind = random();
  if (kind < 0.65)
    return `set rule ${upTo(random, 9000)} from ${zone()} to ${zone()} source ${net()} destination ${net()} service tcp-${upTo(random, 65536)} action ${pick(random, ['accept', 'drop'])}`;
  if (kind < 0.9)
    return `set address host-${upTo(random, 99999)} ${net().replace('0/24', `${upTo(random, 256)}/32`)} comment "berth ${upTo(random, 400)}"`;
  if (kind < 0.98)
    return `set interface eth${upTo(random, 48)} unit ${upTo(random, 4094)} mtu ${pick(random, ['1500', '9000'])}`;
  return `set user u${upTo(random, 999)} hash ${Array.from({ length: 4 }, () => upTo(random, 2 ** 32).toString(16)).join('')}`;
}

/** Changes one to five places: a line altered, put in or taken out. */
function change(random: () => number, lines: string[]): void {
  for (let n = 1 + upTo(random, 5); n > 0; n -= 1) {
    const at = upTo(random, lines.length);
    const what = random();
    if (what < 0.6) lines[at] = line(random);
    else if (what < 0.85) lines.splice(at, 0, line(random));
    else if (lines.length > 100) lines.splice(at, 1);
  }
}

/**
 * The history of one device, day by day: its configuration, and whether it changed since the day before. The same
 * seed gives the same bytes. Memory: one configuration.
 */
export function* deviceHistory(
  size: HistorySize,
  device: number,
): Generator<{ day: number; bytes: Buffer; changed: boolean }> {
  const random = seeded(1_000_003 * (device + 1));
  const target = size.smallest * (size.largest / size.smallest) ** random();
  const lines: string[] = [];
  for (let bytes = 0; bytes < target; ) {
    const next = line(random);
    lines.push(next);
    bytes += next.length + 1;
  }
  let bytes = Buffer.from(`${lines.join('\n')}\n`);
  for (let day = 0; day < size.days; day += 1) {
    const changed = day === 0 || random() < size.changes;
    if (changed && day > 0) {
      change(random, lines);
      bytes = Buffer.from(`${lines.join('\n')}\n`);
    }
    yield { day, bytes, changed };
  }
}
