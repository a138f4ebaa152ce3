import type { Reading } from '#core/reading';
import type { DeviceKind } from '#core/slots';

/** Who answers at the other end. `boot` is any text that differs after every boot (a boot id, a count). */
export interface Identity {
  readonly model: string;
  readonly serial: string;
  readonly hostname: string;
  readonly release: string;
  readonly boot: string | null;
  readonly uptimeSeconds: number | null;
}

/** A file of a capture: its name as the device knows it (`/` between parts) and its bytes, unchanged. */
export interface NamedFile {
  readonly name: string;
  readonly bytes: Uint8Array;
}

/** One slot as the device shows it. `configuration` is a digest the device reports, or null when it reports none. */
export interface ObservedSlot {
  /** The device's own name for the slot, such as `1`. */
  readonly id: string;
  readonly release: string | null;
  readonly configuration: string | null;
}

export interface ObservedSlots {
  /** One or two slots, in the device's order. */
  readonly slots: readonly ObservedSlot[];
  /** Id of the slot the device runs from. */
  readonly running: string;
  /** Id of the slot it boots next. */
  readonly next: string;
}

/** A firmware file on the workbench. `sha256` is lower-case hex. */
export interface ReleaseFile {
  readonly path: string;
  readonly name: string;
  readonly size: number;
  readonly sha256: string;
}

/** The same file on the device. `verified` says that the device's own digest of it equals `sha256`. */
export interface RemoteFile {
  readonly path: string;
  readonly sha256: string;
  readonly verified: boolean;
}

export type BootChoice = 'running' | 'spare';

/** What the handbook says of this kind of device, for planning. Times in seconds. */
export interface DeviceFacts {
  /** Slot count and where an install writes (see #core/slots). */
  readonly kind: DeviceKind;
  /** Does applying these configuration files need a restart? Names as in a capture. */
  applyNeedsRestart(files: readonly string[]): boolean;
  readonly canCaptureSpare: boolean;
  readonly canArmReturn: boolean;
  readonly canReport: boolean;
  readonly limits: {
    readonly commandSeconds: number;
    readonly transferSeconds: number;
    readonly installSeconds: number;
    /** From giving the order to restart until the device answers again. */
    readonly bootSeconds: number;
  };
}

/** Called with the bytes moved so far and the whole size. */
export type Progress = (done: number, total: number) => void;

/**
 * An open way to one device. One caller at a time; calls do not overlap.
 *
 * Reading calls (`identify`, `slots`, `capture`, `reading`, `report`, `remoteFile`) change nothing and may be
 * repeated at will. Acting calls return when the device said it is done, or throw; after a throw the caller must
 * observe the device before it acts again, since the act may have taken effect. Each throws `TuckpointError` with
 * a code of `LinkErrorCode`: `links/unreachable`, `links/timeout` and `links/closed` may pass if tried again; all
 * others are permanent.
 */
export interface Link {
  readonly facts: DeviceFacts;
  identify(): Promise<Identity>;
  slots(): Promise<ObservedSlots>;
  /** The configuration of a slot, file by file. `spare` only where `facts.canCaptureSpare`. */
  capture(slot: BootChoice): Promise<readonly NamedFile[]>;
  reading(): Promise<Reading>;
  /** State for support: the outputs of the handbook's report commands, named. */
  report(): Promise<readonly NamedFile[]>;

  /** Looks for a file transferred before; null when it is not there or its digest differs. */
  remoteFile(file: ReleaseFile): Promise<RemoteFile | null>;
  /** Brings a firmware file onto the device and checks its digest there. Safe to repeat. */
  transfer(file: ReleaseFile, progress?: Progress): Promise<RemoteFile>;
  /** Installs a transferred release into the slot the handbook says. Not safe to repeat without observing. */
  install(file: RemoteFile): Promise<void>;
  /** Copies running -> spare, release and configuration both. Safe to repeat. */
  keep(): Promise<void>;
  /** Copies spare -> running, release and configuration both. Safe to repeat. */
  recover(): Promise<void>;
  /** Replaces the running configuration by these files. Safe to repeat. */
  apply(files: readonly NamedFile[]): Promise<void>;
  /** Orders a boot from the slot; returns when the device accepted the order (the link is then closed). */
  boot(slot: BootChoice): Promise<void>;
  restart(): Promise<void>;
  shutdown(): Promise<void>;
  /** The device returns to its present configuration by itself unless disarmed in time. Only where `canArmReturn`. */
  armReturn(seconds: number): Promise<void>;
  disarmReturn(): Promise<void>;
  /** Removes what `transfer` left on the device. Safe to repeat. */
  clean(): Promise<void>;
  close(): Promise<void>;
}
