import type { Comparison } from '#core/reading';
import type { SlotState } from '#core/slots';
import type { Decision } from '../events.ts';

/** All that a report of one run says. Plain data that JSON carries as it is; times are RFC 3339 with zone. */
export interface RunReport {
  readonly run: string;
  readonly device: ReportDevice;
  readonly procedure: {
    readonly name: string;
    /** As a sentence without a full stop, such as `update the device to 4.2.0`. */
    readonly title: string;
  };
  readonly startedAt: string;
  readonly endedAt: string;
  readonly decision: Decision;
  /** Why it was decided so, in whole sentences. */
  readonly reason: string;
  readonly steps: readonly ReportStep[];
  readonly slots: ReportSlots;
  /** What the run itself changed in the configuration; empty: not compared, which `notChecked` must say. */
  readonly configuration: readonly ConfigurationSection[];
  /** Readings side by side; a run that went back has two: after the update, after going back. */
  readonly readings: readonly ReadingsSection[];
  /** What a person should know of what was brought onto the device. */
  readonly warnings?: readonly string[];
  /** Missing or null: nothing was predicted that could be read back. */
  readonly readBack?: ReadBackSection | null;
  /** Missing or null: traffic was not compared. */
  readonly traffic?: TrafficSection | null;
  readonly notChecked: readonly string[];
  readonly next: readonly string[];
}

/** Null: not known, since the device was never reached. */
export interface ReportDevice {
  readonly name: string;
  readonly model: string | null;
  readonly serial: string | null;
}

export type StepOutcome = 'done' | 'found done' | 'failed' | 'left out' | 'not reached';

export interface ReportStep {
  readonly title: string;
  /** Null when it never began. */
  readonly startedAt: string | null;
  readonly seconds: number | null;
  readonly outcome: StepOutcome;
  /** A remark, or why it failed. */
  readonly note: string | null;
}

/** Null: not seen, or nothing predicted. */
export interface ReportSlots {
  readonly before: SlotState | null;
  readonly predicted: SlotState | null;
  readonly after: SlotState | null;
}

export interface ConfigurationSection {
  /** Such as `Changed by the update` or `After going back`. */
  readonly title: string;
  readonly files: readonly FileChange[];
}

/** One file of a configuration that is not as before. */
export interface FileChange {
  readonly name: string;
  readonly change: 'changed' | 'added' | 'removed';
  /** Unified difference, or null where the bytes are no text. */
  readonly difference: string | null;
}

export interface ReadingsSection {
  readonly title: string;
  readonly beforeAt: string;
  readonly afterAt: string;
  readonly comparison: Comparison;
}

export interface TrafficSection {
  readonly sentence: string;
  readonly rows: readonly string[];
}

/** What was read back from the device against what was predicted. */
export interface ReadBackSection {
  readonly sentence: string;
  /** What became of the promises; empty: none was checked. */
  readonly promises: readonly string[];
}
