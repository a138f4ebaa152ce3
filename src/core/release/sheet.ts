/** A firmware file of a release. `sha256` is lower-case hex, `size` is in bytes. */
export interface ReleaseFile {
  readonly name: string;
  readonly size: number;
  readonly sha256: string;
}

/** What is known of a firmware release. */
export interface ReleaseSheet {
  readonly release: string;
  /** Models it runs on, as devices name themselves. */
  readonly models: readonly string[];
  /** The oldest release one may come from; missing: not stated. */
  readonly from?: string;
  readonly files: readonly ReleaseFile[];
  readonly limitations?: readonly string[];
  readonly fixes?: readonly string[];
  readonly notes?: string;
}
