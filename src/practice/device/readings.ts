import type { EstateDevice } from '../estate/devices.ts';
import { modelOf } from '../estate/models.ts';
import { zones } from '../estate/zones.ts';
import type { DeviceFault } from './fault.ts';
import { seeded } from './seeded.ts';
import { octetsSinceBoot } from './traffic.ts';

/** When something is read: `now` and `bootedAt` in milliseconds since 1970. */
export interface Moment {
  readonly now: number;
  readonly bootedAt: number;
  readonly boot: string;
  readonly faults: readonly DeviceFault[];
  /** Interfaces that the configuration holds down. */
  readonly setDown: readonly string[];
}

export interface InterfaceFigures {
  readonly name: string;
  readonly set: 'up' | 'down';
  readonly link: 'up' | 'down';
  readonly counters: Readonly<Record<CounterName, bigint>>;
}

export const counterNames = [
  'octets-in',
  'octets-out',
  'packets-in',
  'packets-out',
  'errors-in',
  'errors-out',
  'discards-in',
  'discards-out',
] as const;
export type CounterName = (typeof counterNames)[number];

export interface HealthFigures {
  readonly memory: { readonly total: number; readonly free: number };
  readonly processorPercent: number;
  readonly probes: readonly { readonly target: string; readonly sent: number; readonly lost: number }[];
}

/** Which interface a fault holds down, if one does. */
export function interfaceDown(device: EstateDevice, faults: readonly DeviceFault[]): string | null {
  const fault = faults.find((f) => f.kind === 'interface-down');
  if (fault === undefined) return null;
  if (fault.interface !== undefined) return fault.interface;
  const first = device.zones.find((zone) => zone !== 'outside' && zone !== 'upkeep');
  return first === undefined ? null : zones[first].interface;
}

/** Simulated interfaces: counters since boot, 64 bits wide, fed by a seeded generator. */
export function interfaceFigures(device: EstateDevice, moment: Moment): InterfaceFigures[] {
  const { octetsPerSecond } = modelOf(device.model);
  const down = interfaceDown(device, moment.faults);
  const loss = lossShare(moment.faults);
  const bootedAt = moment.bootedAt / 1000;
  const uptime = Math.max(0, (moment.now - moment.bootedAt) / 1000);
  return device.zones.map((zone) => {
    const { interface: name, share } = zones[zone];
    const set = moment.setDown.includes(name) ? 'down' : 'up';
    const link = set === 'down' || name === down ? 'down' : 'up';
    const count = (way: string, part: number) =>
      link === 'down'
        ? 0n
        : octetsSinceBoot(`${device.name} ${name} ${way}`, octetsPerSecond * share * part, bootedAt, uptime);
    const octetsIn = count('in', 0.62);
    const octetsOut = count('out', 0.38);
    const packetsIn = octetsIn / 710n;
    const packetsOut = octetsOut / 640n;
    const discards = (packets: bigint) =>
      (packets * BigInt(Math.round(loss * 1000))) / 1000n + packets / 9_000_000n;
    return {
      name,
      set,
      link,
      counters: {
        'octets-in': octetsIn,
        'octets-out': octetsOut,
        'packets-in': packetsIn,
        'packets-out': packetsOut,
        'errors-in': packetsIn / 40_000_000n,
        'errors-out': 0n,
        'discards-in': discards(packetsIn),
        'discards-out': packetsOut / 9_000_000n,
      },
    };
  });
}

/** Simulated memory, processor and probes towards three targets. */
export function healthFigures(device: EstateDevice, moment: Moment): HealthFigures {
  const total = modelOf(device.model).memoryBytes;
  const second = Math.floor(moment.now / 1000);
  const usual = 0.55 + 0.02 * seeded(device.name, 'memory', Math.floor(second / 60));
  const gone = moment.faults.find((f) => f.kind === 'less-memory')?.percent ?? 0;
  const busy = 9 + 6 * seeded(device.name, 'processor', Math.floor(second / 5));
  const loss = lossShare(moment.faults);
  const probe = (target: string) => {
    let lost = 0;
    for (let k = 0; k < 100; k++) if (seeded(device.name, moment.boot, second, target, k) < loss) lost++;
    return { target, sent: 100, lost };
  };
  return {
    memory: { total, free: Math.floor(total * usual * (1 - gone / 100)) },
    processorPercent: Math.round(busy),
    probes: ['inside-host', 'outside-gateway', 'depot'].map(probe),
  };
}

const lossShare = (faults: readonly DeviceFault[]): number =>
  (faults.find((f) => f.kind === 'packet-loss')?.percent ?? 0) / 100;
