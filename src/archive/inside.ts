import type { Catalogue } from './catalogue.ts';
import type { Entry, NewEntry } from './entry.ts';
import type { ArchiveKey, Sealer } from './key.ts';
import type { Manifest } from './manifest.ts';

/** An open archive from inside: what the procedures beside it (packing, verification, …) work on. */
export interface Inside {
  readonly folder: string;
  readonly key: ArchiveKey;
  readonly sealing: Sealer;
  readonly manifest: Manifest;
  readonly catalogue: Catalogue;
  /** Files outside the archive that note the manifest's head. */
  readonly witnesses: readonly string[];
  /** The workbench's clock. */
  now(): Date;
  /** Reads what other processes have added to the manifest. */
  refresh(): Promise<void>;
  /** Runs alone among all writers of all processes, with the manifest refreshed. Not to be nested. */
  alone<T>(work: () => Promise<T>): Promise<T>;
  /** Adds lines to manifest and catalogue, not before `durable` is fulfilled: what they speak of. Only within `alone`. */
  append(entries: readonly NewEntry[], durable?: Promise<void>): Promise<readonly Entry[]>;
}
