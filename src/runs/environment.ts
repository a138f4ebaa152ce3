import type { Archive } from '#archive';
import type { DeviceFacts, Link } from '#links/port';
import type { DeviceRecord, Store } from '#store';

/** All that a run needs from outside; main brings the real parts, tests bring their own. */
export interface RunEnvironment {
  readonly store: Store;
  readonly archive: Archive;
  connect(device: DeviceRecord): Promise<Link>;
  /** What the handbook says of the device, without reaching it. Throws `links/handbook`. */
  deviceFacts(device: DeviceRecord): Promise<DeviceFacts>;
  /** RFC 3339 with zone. */
  now(): string;
  /** Milliseconds of a clock that never goes back; for durations and leases. */
  nowMs(): number;
  sleep(ms: number): Promise<void>;
  /** A new run id: ids are in the order of time. */
  newId(): string;
}
