import { setTimeout as pause } from 'node:timers/promises';
import type { DeviceFault } from './device/fault.ts';
import { firstSlots } from './device/first-state.ts';
import type { Instant, Operation } from './device/operations.ts';
import type { PracticeDevice, ShownSlot } from './device/practice-device.ts';
import { fingerprint, keyIn, makeKey } from './ssh/keys.ts';
import type { DeviceServer } from './ssh/server.ts';

/** The hand on one practice device, for tests and demonstrations: what no session could do. */
export interface DeviceControl {
  /** Adds a fault, in place of an earlier one of the same kind. */
  fault(fault: DeviceFault): void;
  /** Takes all faults away but those of the running release. */
  clearFaults(): void;
  /** The power goes now and comes back at once; the loader takes the other slot after a boot that did not come up. */
  powerCycle(): void;
  /** The power goes when the next such operation has written half, before it wrote, or before it answers. */
  losePowerDuring(operation: Operation, at?: Instant): void;
  /** Answers nobody for so many milliseconds, without a boot. */
  unreachableFor(ms: number): void;
  /** A new host key, as after a swap of the hardware. Returns its fingerprint. */
  changeHostKey(): string;
  /** Puts the device back as it was when first made, and boots it: a virtual one that does not boot has no other way. */
  redeploy(): void;
  readonly phase: 'up' | 'booting' | 'off' | 'failed';
  readonly bootCount: number;
  /** What the slots hold, seen from outside the device. */
  slots(): readonly ShownSlot[];
  /** Files of a slot's configuration. */
  configuration(slot: string): ReadonlyMap<string, Uint8Array>;
  log(): readonly string[];
  /** Resolves when the phase is reached, rejects after so many milliseconds (10000 without it). */
  reach(phase: 'up' | 'booting' | 'off' | 'failed', ms?: number): Promise<void>;
}

export function deviceControl(device: PracticeDevice, server: DeviceServer, home: string): DeviceControl {
  const { machine, operations } = device;
  return {
    fault: (fault) =>
      machine.commit({ faults: [...machine.state.faults.filter((each) => each.kind !== fault.kind), fault] }),
    clearFaults: () => machine.commit({ faults: [] }),
    powerCycle() {
      machine.log.say('power went');
      machine.powerCycle();
    },
    losePowerDuring: (operation, at = 'half') => operations.losePowerDuring(operation, at),
    unreachableFor: (ms) => machine.hide(ms),
    changeHostKey() {
      makeKey(home, 'host-key');
      const key = keyIn(home, 'host-key');
      server.useHostKey(key);
      return fingerprint(key);
    },
    redeploy() {
      const slots = firstSlots(device.spec, device.disk);
      machine.commit({ slots, next: slots[0]!.id, faults: [], returning: null });
      machine.restart(slots[0]!.id);
    },
    get phase() {
      return machine.state.phase;
    },
    get bootCount() {
      return machine.state.bootCount;
    },
    slots: () => device.slots(),
    configuration: (slot) => device.configuration(slot),
    log: () => machine.log.lines,
    async reach(phase, ms = 10_000) {
      for (let waited = 0; machine.state.phase !== phase; waited += 5) {
        if (waited >= ms)
          throw new Error(`${device.spec.name} is ${machine.state.phase}, not ${phase}, after ${ms} ms`);
        await pause(5);
      }
    },
  };
}
