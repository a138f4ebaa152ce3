import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type CompareOptions, compareReadings, type Finding, type Reading } from './index.ts';
import { quietInterface, quietReading } from './sample.reference.ts';

const before = quietReading();
/** A reading after an update: booted in between. */
const updated = (change: Partial<Reading> = {}) =>
  quietReading({ at: '2026-03-01T02:20:00Z', boot: 'b2', uptimeSeconds: 300, ...change });
const judge = (change: Partial<Reading>, options: CompareOptions = {}, first: Reading = before) => {
  const comparison = compareReadings(first, updated(change), options);
  const notable = comparison.findings.filter((f) => f.judgement !== 'same');
  return { verdict: comparison.verdict, notable: notable.map(brief), because: comparison.because };
};
const brief = (f: Finding) => `${f.what}: ${f.before} -> ${f.after}: ${f.judgement}`;

describe('a device after an update', () => {
  it('is well when nothing is worse', () => {
    expect(judge({})).toEqual({
      verdict: 'well',
      notable: [],
      because: ['Nothing that was compared is worse than before.'],
    });
  });

  it('is worse with an interface down, switched off or gone', () => {
    const [outside, inside] = before.interfaces as [
      (typeof before.interfaces)[0],
      (typeof before.interfaces)[0],
    ];
    expect(judge({ interfaces: [{ ...outside, oper: 'down' }, inside] })).toMatchObject({
      verdict: 'worse',
      notable: ['interface outside: up -> down: worse'],
    });
    expect(judge({ interfaces: [{ ...outside, admin: 'down', oper: 'down' }, inside] }).notable).toEqual([
      'interface outside: up -> down, switched off: worse',
    ]);
    expect(judge({ interfaces: [inside] }).notable).toEqual(['interface outside: up -> not there: worse']);
  });

  it('is better with an interface up that was down; a new interface is open and decides nothing', () => {
    const down = quietReading({ interfaces: [quietInterface({ oper: 'down' })] });
    const now = [quietInterface(), quietInterface({ name: 'dmz' })];
    expect(judge({ interfaces: now }, {}, down)).toMatchObject({
      verdict: 'well',
      notable: ['interface outside: down -> up: better', 'interface dmz: not there -> up: unknown'],
    });
  });

  it('cannot be told when an interface state that was known is not, or nothing was read at all', () => {
    expect(judge({ interfaces: [quietInterface({ oper: 'unknown' }), before.interfaces[1]!] }).verdict).toBe(
      'cannot tell',
    );
    const none = quietReading({ interfaces: [] });
    expect(judge({ interfaces: [] }, {}, none).verdict).toBe('cannot tell');
  });
});

describe('loss', () => {
  const loss = (lost: number, sent = 200) => judge({ loss: [{ target: '192.0.2.1', sent, lost }] });

  it('is worse beyond chance and the same within it (SciPy 1.17.1: 0/200 against 5/200 gives p = 0.061)', () => {
    expect(loss(5).verdict).toBe('well');
    expect(loss(20)).toMatchObject({
      verdict: 'worse',
      notable: ['loss towards 192.0.2.1: 0 of 200 lost (0 %) -> 20 of 200 lost (10 %): worse'],
    });
  });

  it('says from how many lost probes on it would show', () => {
    const { findings } = compareReadings(before, updated());
    expect(findings.find((f) => f.kind === 'loss')?.why).toContain(
      'from 8 of 200 lost on it would show at 0.01',
    );
    expect(loss(7).verdict).toBe('well');
    expect(loss(8).verdict).toBe('worse');
  });

  it('cannot be told from too few probes, or when it is not probed any more', () => {
    const few = quietReading({ loss: [{ target: '192.0.2.1', sent: 3, lost: 0 }] });
    expect(judge({ loss: [{ target: '192.0.2.1', sent: 3, lost: 3 }] }, {}, few).verdict).toBe('cannot tell');
    expect(judge({ loss: [] }).verdict).toBe('cannot tell');
  });

  it('can get better', () => {
    const lossy = quietReading({ loss: [{ target: '192.0.2.1', sent: 200, lost: 30 }] });
    expect(judge({}, {}, lossy).notable).toEqual([
      'loss towards 192.0.2.1: 30 of 200 lost (15 %) -> 0 of 200 lost (0 %): better',
    ]);
  });
});

describe('errors and discards', () => {
  const faulty = (change: object) => [quietInterface(change), before.interfaces[1]!];

  it('are compared as shares of the packets since boot when the device booted in between', () => {
    expect(judge({ interfaces: faulty({ inErrors: 100n, inPackets: 9_900n }) })).toMatchObject({
      verdict: 'worse',
      notable: ['errors in on outside: none -> 100 of 10000 packets (1.0 %): worse'],
    });
    const bad = quietReading({ interfaces: faulty({ outDiscards: 2_000n }) });
    expect(judge({}, {}, bad).notable).toEqual([
      'discards out on outside: 2000 of 20000 packets (10 %) -> none: better',
    ]);
  });

  it('are compared with what came between the readings when it did not boot', () => {
    const old = quietReading({ interfaces: faulty({ inErrors: 500n }) });
    const same = { boot: 'b1', uptimeSeconds: 2100 };
    const grown = faulty({ inErrors: 500n, inPackets: 1_000_000n });
    expect(judge({ ...same, interfaces: grown }, {}, old).notable).toEqual([
      'errors in on outside: 500 of 10500 packets (4.8 %) -> none: better',
    ]);
  });

  it('are not better for none among few packets, after a life that had a few among many', () => {
    const old = quietReading({ interfaces: faulty({ inErrors: 181n, inPackets: 1_629_700_369n }) });
    const same = { boot: 'b1', uptimeSeconds: 2100 };
    // SciPy's fisher_exact of [[181, 1629700369], [0, 32243]] gives p = 1.0.
    const grown = faulty({ inErrors: 181n, inPackets: 1_629_732_612n });
    expect(judge({ ...same, interfaces: grown }, {}, old)).toMatchObject({ verdict: 'well', notable: [] });
  });

  it('may rise by one packet in 10,000 however certain that is', () => {
    const busy = (inErrors: bigint) => faulty({ inPackets: 100_000_000n, inErrors });
    const first = quietReading({ interfaces: busy(0n) });
    expect(judge({ interfaces: busy(9_000n) }, {}, first).verdict).toBe('well');
    expect(judge({ interfaces: busy(11_000n) }, {}, first).verdict).toBe('worse');
  });

  it('that did not occur are none, also where an agent has not counted packets yet; others cannot be told', () => {
    const why = 'The SNMP agent does not count them on outside.';
    const late = (inErrors: bigint) => ({
      interfaces: faulty({ inPackets: null, inErrors }),
      notRead: [{ what: 'packets in', why }],
    });
    expect(judge(late(0n)).verdict).toBe('well');
    expect(judge(late(3n))).toMatchObject({
      verdict: 'cannot tell',
      because: ['errors in on outside: none -> 3. No packets were counted to compare by.'],
    });
    // Long after the boot, packets that are no longer counted are a question again.
    expect(judge({ ...late(0n), uptimeSeconds: 90_000 }).verdict).toBe('cannot tell');
  });

  it('cannot be told from 32-bit packet counters that may have wrapped since boot', () => {
    const first = quietReading({ uptimeSeconds: 90_000, interfaces: [quietInterface({ counterBits: 32 })] });
    const now = { interfaces: [quietInterface({ counterBits: 32, inErrors: 50n })] };
    expect(judge(now, {}, first)).toMatchObject({ verdict: 'cannot tell' });
    expect(judge(now, {}, { ...first, uptimeSeconds: 900 }).verdict).toBe('worse');
  });

  it('cannot be told when nobody knows whether the device booted, unless there are none', () => {
    const unknown = { boot: null, uptimeSeconds: null, interfaces: faulty({ inErrors: 50n }) };
    expect(judge(unknown, {}, quietReading({ boot: null, uptimeSeconds: null })).verdict).toBe('cannot tell');
    expect(judge(unknown, { booted: true }).verdict).toBe('worse');
  });
});

describe('memory and processor', () => {
  const memory = (freeBytes: number, totalBytes = 2 ** 30) => judge({ memory: { totalBytes, freeBytes } });

  it('let pass 5 % of the memory and 20 points of the processor (common practice, no source)', () => {
    expect(memory(2 ** 29 - 0.04 * 2 ** 30).verdict).toBe('well');
    expect(memory(2 ** 29 - 0.06 * 2 ** 30)).toMatchObject({
      verdict: 'worse',
      notable: ['free memory: 512 MiB of 1.0 GiB -> 451 MiB of 1.0 GiB: worse'],
    });
    const processor = (processorPercent: number, options: CompareOptions = {}) =>
      judge({ processorPercent, uptimeSeconds: 900 }, options).verdict;
    expect(processor(26)).toBe('well');
    expect(processor(28)).toBe('worse');
    expect(processor(28, { processorPoints: 30 })).toBe('well');
  });

  it('a busy processor proves nothing in the first ten minutes after a boot', () => {
    expect(judge({ processorPercent: 95, uptimeSeconds: 599 })).toMatchObject({
      verdict: 'well',
      notable: ['processor in use: 7 % -> 95 %: unknown'],
    });
    expect(judge({ processorPercent: 95, uptimeSeconds: 600 }).verdict).toBe('worse');
  });

  it('notice memory that is gone altogether', () => {
    expect(memory(2 ** 29, 2 ** 29).verdict).toBe('worse');
  });

  it('cannot be told when they are not read any more, and are passed over when they never were', () => {
    expect(judge({ memory: null }).verdict).toBe('cannot tell');
    const never = quietReading({ memory: null, processorPercent: null });
    expect(judge({ memory: null, processorPercent: null }, {}, never).verdict).toBe('well');
  });
});

describe('alarms, handbook fields and what was not read', () => {
  it('a new alarm is worse, a cleared one better, a standing one the same', () => {
    const alarmed = quietReading({ alarms: ['fan 2', 'clock'] });
    expect(judge({ alarms: ['clock', 'disk'] }, {}, alarmed)).toMatchObject({
      verdict: 'worse',
      notable: ['alarm "disk": not raised -> raised: worse', 'alarm "fan 2": raised -> not raised: better'],
    });
  });

  it('a changed field is open without a rule, and judged by one', () => {
    const first = quietReading({ fields: { sessions: 900, licence: 'valid' } });
    const now = { fields: { sessions: 12, licence: 'none' } };
    expect(judge(now, {}, first)).toMatchObject({
      verdict: 'well',
      notable: ['sessions: 900 -> 12: unknown', 'licence: valid -> none: unknown'],
    });
    expect(judge(now, { fields: { licence: 'same', sessions: 'more is worse' } }, first)).toMatchObject({
      verdict: 'worse',
      notable: ['sessions: 900 -> 12: better', 'licence: valid -> none: worse'],
    });
  });

  it('what was read before and is not any more keeps the verdict open; what never was does not', () => {
    const notRead = [{ what: 'power supplies', why: 'The command printed nothing.' }];
    expect(judge({ notRead }).verdict).toBe('cannot tell');
    expect(judge({ notRead }, {}, quietReading({ notRead })).verdict).toBe('well');
  });
});

describe('any two readings', () => {
  it('that are alike but for the boot are well, whatever they hold', () => {
    const count = fc.bigInt({ min: 0n, max: 2n ** 40n });
    const entry = fc.record({ inPackets: count, outPackets: count, inErrors: count, outDiscards: count });
    fc.assert(
      fc.property(fc.array(entry, { minLength: 1, maxLength: 3 }), fc.nat({ max: 50 }), (entries, lost) => {
        const interfaces = entries.map((change, i) => quietInterface({ ...change, name: `port ${i}` }));
        const loss = [{ target: '192.0.2.1', sent: 50, lost }];
        const verdict = judge({ interfaces, loss }, {}, quietReading({ interfaces, loss })).verdict;
        expect(verdict === 'well' || (verdict === 'cannot tell' && lost > 0)).toBe(true);
      }),
    );
  });
});
