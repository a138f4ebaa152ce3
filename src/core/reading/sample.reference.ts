import type { InterfaceReading, Reading } from './reading.ts';

/** A quiet interface and a quiet device, for tests to change. */
export function quietInterface(change: Partial<InterfaceReading> = {}): InterfaceReading {
  return {
    name: 'outside',
    admin: 'up',
    oper: 'up',
    counterBits: 64,
    inOctets: 1_000_000n,
    outOctets: 2_000_000n,
    inPackets: 10_000n,
    outPackets: 20_000n,
    inErrors: 0n,
    outErrors: 0n,
    inDiscards: 0n,
    outDiscards: 0n,
    ...change,
  };
}

export function quietReading(change: Partial<Reading> = {}): Reading {
  return {
    at: '2026-03-01T02:00:00Z',
    boot: 'b1',
    uptimeSeconds: 900,
    interfaces: [quietInterface(), quietInterface({ name: 'inside' })],
    memory: { totalBytes: 2 ** 30, freeBytes: 2 ** 29 },
    processorPercent: 7,
    loss: [{ target: '192.0.2.1', sent: 200, lost: 0 }],
    alarms: [],
    fields: {},
    notRead: [],
    ...change,
  };
}
