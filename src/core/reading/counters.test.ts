import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { bootedBetween, counterDifference, interfaceRates, secondsOf, shortestWrapSeconds } from './index.ts';
import { quietInterface, quietReading } from './sample.reference.ts';

describe('a counter', () => {
  it('wraps from 2^32-1 to 0 (RFC 2578 section 7.1.6) and from 2^64-1 to 0 (section 7.1.10)', () => {
    expect(counterDifference(4_294_967_295n, 0n, 32)).toBe(1n);
    expect(counterDifference(18_446_744_073_709_551_615n, 0n, 64)).toBe(1n);
    expect(counterDifference(4_294_967_000n, 704n, 32)).toBe(1000n);
  });

  it('gives back what was counted, as long as it wrapped once at most', () => {
    const bits = fc.constantFrom(32 as const, 64 as const);
    const value = fc.bigInt({ min: 0n, max: (1n << 32n) - 1n });
    fc.assert(
      fc.property(bits, value, value, (width, start, moved) => {
        const end = BigInt.asUintN(width, start + moved);
        expect(counterDifference(start, end, width)).toBe(moved);
      }),
    );
  });

  it('can wrap as soon as RFC 2863 section 3.1.6 prints', () => {
    const minutes = (bitsPerSecond: number) => shortestWrapSeconds(32, bitsPerSecond / 8) / 60;
    expect(minutes(10e6)).toBeCloseTo(57.3, 1); // "just over 57 minutes"
    expect(Math.round(minutes(16e6))).toBe(36);
    expect(Math.floor(minutes(45e6))).toBe(12);
    expect(minutes(100e6)).toBeCloseTo(5.7, 1);
    expect(Math.round(shortestWrapSeconds(32, 1e9 / 8))).toBe(34);
    // "about 57 minutes" for 64-byte packets at 650 Mb/s; the exact quotient is 56.4.
    expect(Math.abs(shortestWrapSeconds(32, 650e6 / 8 / 64) / 60 - 57)).toBeLessThan(1);
    // "just under 5 years" for 64-bit octets at 10^12 bit/s
    const years = shortestWrapSeconds(64, 1e12 / 8) / (365 * 86_400);
    expect(years).toBeGreaterThan(4.6);
    expect(years).toBeLessThan(5);
  });
});

describe('rates', () => {
  const before = quietReading({
    interfaces: [quietInterface({ counterBits: 32, inOctets: 4_294_967_000n, outErrors: 4_294_967_290n })],
  });
  const after = quietReading({
    at: '2026-03-01T02:00:10Z',
    uptimeSeconds: 910,
    interfaces: [quietInterface({ counterBits: 32, inOctets: 704n, outErrors: 4n, inPackets: null })],
  });

  it('are per second, over a wrap too; errors have 32 bits in any case', () => {
    const { rates } = interfaceRates(before, after)[0]!;
    expect(rates.inOctets).toEqual({ known: true, perSecond: 100 });
    expect(rates.outErrors).toEqual({ known: true, perSecond: 1 });
    expect(rates.inPackets).toEqual({ known: false, why: 'the counter was not read both times' });
  });

  it('do not exist over a boot, over a counter started anew, or without time between', () => {
    const why = (change: object) => interfaceRates(before, { ...after, ...change })[0]!.rates.inOctets;
    expect(why({ boot: 'b2' })).toMatchObject({ known: false, why: expect.stringContaining('booted') });
    expect(why({ at: before.at })).toMatchObject({ known: false, why: expect.stringContaining('no time') });
    const anew = after.interfaces.map((entry) => ({ ...entry, discontinuity: '77' }));
    expect(why({ interfaces: anew })).toMatchObject({ known: false, why: expect.stringContaining('anew') });
    expect(why({ boot: null, uptimeSeconds: null })).toMatchObject({ known: false });
  });
});

describe('a boot between two readings', () => {
  const first = quietReading({ uptimeSeconds: 900 });
  const later = (change: object) =>
    quietReading({ at: '2026-03-01T02:10:00Z', uptimeSeconds: 1500, ...change });

  it('is told by the boot id where there is one', () => {
    expect(bootedBetween(first, later({}))).toBe('no');
    expect(bootedBetween(first, later({ boot: 'b2' }))).toBe('yes');
  });

  it('is told by an uptime that is too short otherwise, even one longer than before', () => {
    expect(bootedBetween(first, later({ boot: null }))).toBe('no');
    expect(bootedBetween(first, later({ boot: null, uptimeSeconds: 20 }))).toBe('yes');
    expect(bootedBetween(first, later({ boot: null, uptimeSeconds: 1000 }))).toBe('yes');
    expect(bootedBetween(first, later({ boot: null, uptimeSeconds: null }))).toBe('unknown');
    expect(bootedBetween(first, later({ boot: null, at: '2026-03-01T01:00:00Z' }))).toBe('unknown');
  });
});

describe('a time stamp', () => {
  it('means what the examples of RFC 3339 section 5.8 say', () => {
    expect(secondsOf('1985-04-12T23:20:50.52Z')).toBeCloseTo(482_196_050.52, 2);
    expect(secondsOf('1996-12-19T16:39:57-08:00')).toBe(secondsOf('1996-12-20T00:39:57Z'));
    expect(secondsOf('1990-12-31T23:59:60Z')).toBe(secondsOf('1990-12-31T15:59:60-08:00'));
    expect(secondsOf('1937-01-01T12:00:27.87+00:20')).toBeCloseTo(secondsOf('1937-01-01T11:40:27.87Z'), 6);
  });

  it('agrees with the clock of the language', () => {
    const range = { min: new Date('0001-01-01'), max: new Date('9999-12-31'), noInvalidDate: true };
    fc.assert(
      fc.property(fc.date(range), (date) => {
        expect(secondsOf(date.toISOString())).toBeCloseTo(date.getTime() / 1000, 3);
      }),
    );
  });

  it.each(['2026-02-29T00:00:00Z', '2026-03-01T00:00:00', '2026-03-01', '2026-13-01T00:00:00Z', 'now'])(
    'is refused: %s',
    (text) => {
      expect(() => secondsOf(text)).toThrow('is no time stamp with a zone');
    },
  );
});
