export interface CaptureFile {
  readonly name: string;
  readonly bytes: Uint8Array;
}

export type CaptureSource = 'run' | 'round' | 'delivery' | 'import' | 'unplanned';

/** A configuration as taken from, or delivered by, a device at an instant. */
export interface NewCapture {
  readonly device: string;
  /** RFC 3339, with zone. */
  readonly at: string;
  readonly source: CaptureSource;
  readonly release: string | null;
  /** Which slot it was taken from, as the device names it. */
  readonly slot: string | null;
  /** Id of the run that took it. */
  readonly run: string | null;
  readonly files: readonly CaptureFile[];
}

/** What the archive knows of a capture without opening it. */
export interface CaptureRecord extends Omit<NewCapture, 'files'> {
  /** Sortable and unique in the archive. */
  readonly id: string;
  /** `configurationDigest` of its files: the same configuration has the same digest on every device and day. */
  readonly digest: string;
  readonly files: readonly { readonly name: string; readonly size: number; readonly sha256: string }[];
}

export interface Capture {
  readonly record: CaptureRecord;
  readonly files: readonly CaptureFile[];
}

/**
 * The archive. `put` resolves only when the capture is on disk, synced and read back; it may be called from several
 * processes. `get` checks every digest. All throw `TuckpointError` with a code starting `archive/`.
 */
export interface Archive {
  put(capture: NewCapture): Promise<CaptureRecord>;
  /** By id. Throws `archive/unknown-capture`, `archive/damaged`. */
  get(id: string): Promise<Capture>;
  /** Oldest first; of one device, or of all. */
  list(device?: string): Promise<readonly CaptureRecord[]>;
  close(): Promise<void>;
}
