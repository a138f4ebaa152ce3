import type { Archive } from '#archive';
import type { Link } from '#links/port';
import type { RunEnvironment } from '#runs';
import type { DeviceRecord, Store } from '#store';
import type { Output } from './output.ts';

/** What every command is given; main fills it. */
export interface CliContext {
  readonly out: Output;
  /** Opens the data folder named by --data (or the default), once. */
  workbench(): Promise<Workbench>;
  /** The folder, whether or not it is opened. */
  dataFolder(): string;
  /** Ends the process with this exit code (see exit-codes.ts) once all is written and closed. */
  exit(code: number): void;
}

/** An opened data folder. */
export interface Workbench {
  readonly folder: string;
  readonly store: Store;
  readonly archive: Archive;
  /** What runs need; `startRun(bench.runs, …)`. */
  readonly runs: RunEnvironment;
  /** RFC 3339 in the user's zone. */
  now(): string;
  /** Opens the way to a device, with its secrets and pinned host key. */
  link(device: DeviceRecord): Promise<Link>;
}
