import type { AddressSet } from '#core/address';
import type { TrafficPromise } from '#core/traffic';
import type { DeviceFacts, NamedFile } from '#links/port';
import type { DeviceRecord } from '#store';
import type { Reading } from '../languages.ts';

/** One device to graft onto, as far as it is known without reaching it. */
export interface GraftTarget {
  readonly device: Pick<DeviceRecord, 'name' | 'port'>;
  /** Its configuration as last captured. */
  readonly files: readonly NamedFile[];
  readonly facts: Pick<DeviceFacts, 'applyNeedsRestart'>;
  /** The value of a placeholder on this device. */
  fill(placeholder: string): string | undefined;
  readonly promises: readonly TrafficPromise[];
  /** Both ends of the way from the workbench; null where they are not known. */
  readonly way: { readonly workbench: AddressSet; readonly device: AddressSet } | null;
  /** The user's word that promises may break, the way in included. */
  readonly mayBreak?: boolean;
  /** How the target's files are read: languages besides the built-in ones, or one for every file. */
  readonly reading?: Reading;
}

/** Why a device is not grafted onto as things are: one sentence, and what could be meant. */
export interface TargetProblem {
  readonly what:
    | 'collision'
    | 'placement'
    | 'name taken'
    | 'fill-in'
    | 'cannot be written'
    | 'broken mention'
    | 'does not load'
    | 'broken promise';
  readonly sentence: string;
  readonly candidates: readonly string[];
}
