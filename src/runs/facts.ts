import type { Comparison, Reading } from '#core/reading';
import type { ReleaseSheet } from '#core/release';
import type { SlotState } from '#core/slots';
import type { TrafficPromise } from '#core/traffic';
import type { Identity, ReleaseFile, RemoteFile } from '#links/port';
import type { TrafficAnswer } from './compare-traffic.ts';
import type { Decision } from './events.ts';
import type { PredictionAnswer } from './graft/as-predicted.ts';
import type { PromisesKept } from './graft/promises-kept.ts';
import type { Languages } from './languages.ts';

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
  /** Digest of the configuration to apply, for predictions. */
  readonly captureDigest?: string;
  /** A graft: the files to apply stand sealed in the store beside the run. */
  readonly graft?: {
    /** What is carried, as a sentence without a full stop. */
    readonly title: string;
    /** The grafts that were asked for at once share it. */
    readonly group: string;
    /** All devices they were asked for, in the run that is begun first. */
    readonly devices?: readonly string[];
  };
  /** Digest of the configuration that this was planned on; on any other the run is refused. */
  readonly plannedOn?: string;
  /** Id of the run whose change is taken back. */
  readonly undoes?: string;
  /** Checked besides the way in. */
  readonly promises?: readonly TrafficPromise[];
  readonly accepted?: Accepted;
  /** How configurations are read; without it in the built-in languages. */
  readonly languages?: Languages;
}

/** The user's explicit words, given beforehand, for a run that applies a configuration. */
export interface Accepted {
  /** The kind of device cannot return by itself. */
  readonly noReturn?: boolean;
  /** Promises that the new configuration breaks, the way in included. */
  readonly brokenPromises?: boolean;
  /** What cannot be compared afterwards. */
  readonly unproved?: boolean;
  /** A reading that is worse than before. */
  readonly worse?: boolean;
  /** Warnings that a restore would else be refused for. */
  readonly warnings?: boolean;
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
  /** The device holds already what is to be applied. */
  readonly nothingToDo?: boolean;
  /** The running slot is copied to the spare first. */
  readonly keepFirst?: boolean;
  /** What a person should know of the capture to restore. */
  readonly warnings?: readonly string[];
  /** When the device returns by itself at the earliest; RFC 3339. */
  readonly armedUntil?: string;
  readonly prediction?: PredictionAnswer;
  readonly promises?: PromisesKept;
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
