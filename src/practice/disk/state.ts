import type { DeviceFault, ReleaseFault } from '../device/fault.ts';

/** `content` names an immutable folder on the device's disk: a release and a configuration. */
export interface SlotRecord {
  readonly id: string;
  readonly content: string;
}

/** What the device runs from memory since its last boot; a slot may by now hold something else. */
export interface Booted {
  readonly slot: string;
  readonly release: string;
  readonly fault: ReleaseFault | null;
  /** Digest of system.conf at boot: it is read only then. */
  readonly systemDigest: string;
  /** Interfaces that system.conf held down at boot. */
  readonly setDown: readonly string[];
}

export type Phase = 'up' | 'booting' | 'off' | 'failed';

/** Everything of a device that must outlive the process, save the slots' bytes. Written whole, in one rename. */
export interface DeviceState {
  readonly format: 1;
  readonly slots: readonly SlotRecord[];
  readonly running: string;
  readonly next: string;
  readonly phase: Phase;
  /** The slot a boot is under way from, or failed from. */
  readonly booting: string | null;
  readonly bootCount: number;
  /** Differs after every boot. */
  readonly boot: string;
  /** Milliseconds since 1970. */
  readonly bootedAt: number;
  readonly booted: Booted;
  readonly faults: readonly DeviceFault[];
  /** An armed return: at this time the slot gets the configuration of this content again. */
  readonly returning: { readonly at: number; readonly slot: string; readonly content: string } | null;
}
