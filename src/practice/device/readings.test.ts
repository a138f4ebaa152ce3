import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { estate } from '../estate/estate.ts';
import type { DeviceFault } from './fault.ts';
import { healthFigures, interfaceFigures, type Moment } from './readings.ts';
import { octetsSinceBoot } from './traffic.ts';

const device = estate.devices[0]!;
const hour = 3_600_000;
const at = (uptime: number, ...faults: DeviceFault[]): Moment => ({
  now: 1_800_000_000_000 + uptime,
  bootedAt: 1_800_000_000_000,
  boot: '2-a',
  faults,
  setDown: [],
});

describe('simulated counters', () => {
  it('never fall while the device is up', () => {
    const moment = fc.double({ min: 0, max: 4e7, noNaN: true });
    fc.assert(
      fc.property(fc.string(), moment, fc.double({ min: 0, max: 1e5, noNaN: true }), (seed, uptime, more) => {
        const before = octetsSinceBoot(seed, 1e6, 1e9, uptime);
        expect(octetsSinceBoot(seed, 1e6, 1e9, uptime + more)).toBeGreaterThanOrEqual(before);
      }),
    );
  });

  it('start at nothing, follow the usual rate, and outgrow 32 bits', () => {
    expect(octetsSinceBoot('x', 1e6, 0, 0)).toBe(0n);
    const tenDays = octetsSinceBoot('x', 1e6, 0, 864_000);
    expect(Number(tenDays)).toBeCloseTo(864_000e6, -8);
    // RFC 2863 section 3.1.6: a 32-bit counter wraps at 2^32.
    expect(tenDays).toBeGreaterThan(2n ** 32n);
  });

  it('are the same when read twice at one moment', () => {
    expect(interfaceFigures(device, at(hour))).toEqual(interfaceFigures(device, at(hour)));
  });
});

describe('what a fault shows', () => {
  it('an interface without link counts nothing, and the others go on', () => {
    const figures = interfaceFigures(device, at(hour, { kind: 'interface-down', interface: 'cctv0' }));
    expect(figures.filter((each) => each.link === 'down').map((each) => each.name)).toEqual(['cctv0']);
    expect(figures.find((each) => each.name === 'cctv0')?.counters['octets-in']).toBe(0n);
    expect(figures.find((each) => each.name === 'tick0')?.counters['octets-in']).toBeGreaterThan(0n);
  });

  it('without a fault no probe is lost', () => {
    expect(healthFigures(device, at(hour)).probes.every((probe) => probe.lost === 0)).toBe(true);
  });

  it('lost probes come to about the share that was asked for', () => {
    let [sent, lost] = [0, 0];
    for (let second = 0; second < 200; second++) {
      for (const probe of healthFigures(device, at(second * 1000, { kind: 'packet-loss', percent: 20 }))
        .probes) {
        sent += probe.sent;
        lost += probe.lost;
      }
    }
    // 60,000 draws at 20 %: the standard deviation is 0.16 %, six of them are allowed (binomial distribution).
    expect(Math.abs(lost / sent - 0.2)).toBeLessThan(0.01);
  });

  it('less memory leaves less free, of the same whole', () => {
    const usual = healthFigures(device, at(hour)).memory;
    const less = healthFigures(device, at(hour, { kind: 'less-memory', percent: 70 })).memory;
    expect(less.total).toBe(usual.total);
    expect(less.free / usual.free).toBeCloseTo(0.3, 3);
  });
});
