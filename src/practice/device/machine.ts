import { randomBytes } from 'node:crypto';
import { SYSTEM } from '../configuration/files.ts';
import { migrate } from '../configuration/migrate.ts';
import { interfacesSetDown } from '../configuration/system.ts';
import { sha256 } from '../disk/content.ts';
import type { DeviceDisk } from '../disk/device-disk.ts';
import type { DeviceState, SlotRecord } from '../disk/state.ts';
import type { EstateDevice } from '../estate/devices.ts';
import type { DeviceFault } from './fault.ts';
import { DeviceLog } from './log.ts';
import { PowerLost } from './refusal.ts';

export interface MachineOptions {
  readonly bootMs: number;
  readonly watchdogMs: number;
  readonly now: () => number;
}

/**
 * Power, booting and the boot loader of one device. It knows nothing of sessions: `onReachable` tells whoever
 * listens that the device answers, or does not.
 */
export class Machine {
  state: DeviceState;
  readonly log: DeviceLog;
  onReachable: (reachable: boolean) => void = () => {};
  /** Counts every loss of power or restart: work begun before one must not go on after it. */
  power = 0;
  private timers = new Set<NodeJS.Timeout>();
  private bootTimer: NodeJS.Timeout | undefined;
  private tried = new Set<string>();
  /** Set while the device answers nobody though it is up. */
  private hidden: NodeJS.Timeout | null = null;

  constructor(
    readonly device: EstateDevice,
    readonly disk: DeviceDisk,
    readonly options: MachineOptions,
  ) {
    this.state = disk.readState();
    this.log = new DeviceLog(disk.folder, options.now);
    disk.sweep(this.state);
  }

  /** Goes on where the last process left off; what is off or did not come up gets a power cycle. */
  start(): void {
    const { phase, booting, next, booted } = this.state;
    if (this.log.lines.length === 0)
      this.log.say(`up from slot ${booted.slot} with release ${booted.release}`);
    if (phase === 'up') this.onReachable(true);
    else if (phase === 'booting') this.boot(booting ?? next);
    else this.powerCycle();
  }

  stop(): void {
    this.power++;
    for (const timer of this.timers) clearTimeout(timer);
    this.timers.clear();
  }

  get reachable(): boolean {
    return this.state.phase === 'up' && this.hidden === null;
  }

  /** Replaces the state on disk, then in memory, then forgets contents that nothing names. */
  commit(change: Partial<DeviceState>): void {
    const state = { ...this.state, ...change };
    this.disk.writeState(state);
    this.state = state;
    this.disk.sweep(state);
  }

  slot(id: string): SlotRecord {
    const found = this.state.slots.find((slot) => slot.id === id);
    if (found === undefined) throw new RangeError(`${this.device.name} has no slot ${id}`);
    return found;
  }

  other(id: string): SlotRecord | undefined {
    return this.state.slots.find((slot) => slot.id !== id);
  }

  /** Faults in effect: what the running release does wrong, and the device's own. */
  get faults(): readonly DeviceFault[] {
    const { booted, faults } = this.state;
    return booted.fault === null ? faults : [...faults, booted.fault];
  }

  /** An orderly restart from a slot. */
  restart(slot: string): void {
    this.log.say(`going down, to boot from slot ${slot}`);
    this.tried.clear();
    this.boot(slot);
  }

  /** An orderly stop: stays off until the power is cycled. */
  turnOff(): void {
    this.log.say('going down, to stay off');
    this.interrupt();
    this.commit({ phase: 'off', booting: null });
    this.onReachable(false);
  }

  /**
   * The power goes and comes back at once. After a boot that did not come up the loader takes the other slot,
   * where there is one; else the slot that boots next.
   */
  powerCycle(): void {
    const { phase, booting, next } = this.state;
    const failed = phase === 'failed' ? (booting ?? next) : null;
    const slot = failed === null ? next : (this.other(failed)?.id ?? failed);
    this.log.say(
      failed === null ? 'power came back' : `slot ${failed} did not come up: the loader takes slot ${slot}`,
    );
    this.tried.clear();
    this.boot(slot);
  }

  /** Answers nobody for so long, and then goes on as if nothing had been. */
  hide(ms: number): void {
    this.cancel(this.hidden ?? undefined);
    this.hidden = this.later(ms, () => {
      this.hidden = null;
      this.onReachable(this.reachable);
    });
    this.onReachable(false);
  }

  /** Runs once, unless the process stops first. */
  later(ms: number, work: () => void): NodeJS.Timeout {
    const timer = setTimeout(() => {
      this.timers.delete(timer);
      work();
    }, ms);
    this.timers.add(timer);
    return timer;
  }

  cancel(timer: NodeJS.Timeout | undefined): void {
    if (timer === undefined) return;
    clearTimeout(timer);
    this.timers.delete(timer);
  }

  /** Throws PowerLost when the power went since `power` was read. */
  still(power: number): void {
    if (power !== this.power) throw new PowerLost();
  }

  private interrupt(): void {
    this.power++;
    this.cancel(this.bootTimer);
  }

  private boot(slot: string): void {
    this.interrupt();
    this.commit({ phase: 'booting', booting: slot });
    this.onReachable(false);
    this.tried.add(slot);
    this.bootTimer = this.later(this.options.bootMs, () => this.comeUp(slot));
  }

  private comeUp(slot: string): void {
    const { state, disk } = this;
    const record = this.slot(slot);
    const content = disk.readContent(record.content);
    const { release, fault } = content.manifest;
    const own = state.faults.find((f) => f.kind === 'does-not-boot');
    if (own !== undefined || fault?.kind === 'does-not-boot') {
      // The device's own fault spoils one boot; a release that does not boot never does.
      this.stayDown(
        slot,
        state.faults.filter((f) => f !== own),
      );
      return;
    }
    let slots = state.slots;
    let { configuration } = content;
    if (content.settledFor !== release) {
      const wrongly = [...state.faults, fault].some((f) => f?.kind === 'rewrites-configuration-wrongly');
      configuration = migrate(configuration, release, wrongly);
      const settled = disk.addContent({ ...content, configuration, settledFor: release });
      slots = slots.map((s) => (s.id === slot ? { id: slot, content: settled } : s));
    }
    const system = configuration.get(SYSTEM) ?? Buffer.alloc(0);
    const bootCount = state.bootCount + 1;
    this.commit({
      slots,
      running: slot,
      next: slot,
      phase: 'up',
      booting: null,
      bootCount,
      boot: `${bootCount}-${randomBytes(4).toString('hex')}`,
      bootedAt: this.options.now(),
      booted: { slot, release, fault, systemDigest: sha256(system), setDown: interfacesSetDown(system) },
    });
    this.log.say(`up from slot ${slot} with release ${release}`);
    this.onReachable(this.reachable);
  }

  private stayDown(slot: string, faults: readonly DeviceFault[]): void {
    this.log.say(`the boot from slot ${slot} does not come up`);
    this.commit({ phase: 'failed', booting: slot, faults });
    const other = this.other(slot);
    if (!this.device.watchdog || other === undefined || this.tried.has(other.id)) return;
    this.bootTimer = this.later(this.options.watchdogMs, () => {
      this.log.say(`the loader falls back to slot ${other.id}`);
      this.boot(other.id);
    });
  }
}
