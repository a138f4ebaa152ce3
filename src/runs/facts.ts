import type { Comparison, Reading } from '#core/reading';
import type { ReleaseSheet } from '#core/release';
import type { SlotState } from '#core/slots';
import type { Identity, ReleaseFile, RemoteFile } from '#links/port';
import type { TrafficAnswer } from './compare-traffic.ts';
import type { Decision } from './events.ts';

/** The device as one look found it. `capture` is the archive's id of its running configuration. */
export interface Look {
  readonly identity: Identity;
  readonly slots: SlotState;
}

/** A firmware release chosen by the user: the file on the workbench and what its sheet says. */
export interface ChosenRelease {
  readonly sheet: ReleaseSheet;
  readonly file: ReleaseFile;
}

/** What the user asked for. */
export interface Goal {
  readonly release?: ChosenRelease;
  /** The release to go back to on a device with one slot. */
  readonly oldRelease?: ChosenRelease;
  /** The user's explicit word that a run without a reserve on the device may begin. */
  readonly acceptNoReserve?: boolean;
  readonly slot?: 'running' | 'spare';
  /** The run is part of a round over the estate. */
  readonly round?: true;
  /** Archive id of the capture to restore. */
  readonly capture?: string;
  /** Its digest, for predictions. */
  readonly captureDigest?: string;
}

/** What of an identity tells one boot from the next. */
export type BootMark = Pick<Identity, 'boot' | 'uptimeSeconds'>;

/** Everything the steps of a run learned, journaled as it was learned; enough to go on after a kill. */
export interface Facts {
  readonly before?: Look;
  /** After the running slot was copied to the spare. */
  readonly kept?: Look;
  readonly captureBefore?: string;
  readonly digestBefore?: string;
  readonly readingBefore?: Reading;
  readonly remote?: RemoteFile;
  readonly oldRemote?: RemoteFile;
  /** The device's boot right before the order to restart, by step. */
  readonly bootAt?: Readonly<Record<string, BootMark>>;
  /** The handbook says that the files just applied need a restart. */
  readonly restartNeeded?: boolean;
  /** Id of the slot a person wants to boot. */
  readonly wantedSlot?: string;
  readonly after?: Look;
  readonly captureAfter?: string;
  readonly readingAfter?: Reading;
  readonly comparison?: Comparison;
  readonly traffic?: TrafficAnswer;
  readonly decision?: Decision;
  readonly reason?: string;
  /** After going back. */
  readonly back?: Look;
  readonly captureBack?: string;
  readonly readingBack?: Reading;
  readonly comparisonBack?: Comparison;
}
