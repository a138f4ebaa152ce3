export type LinkState = 'up' | 'down' | 'unknown';

/** Counters since boot as the device gives them (non-negative integers; 64-bit ones exceed a double: bigint). */
export interface InterfaceReading {
  readonly name: string;
  readonly admin: LinkState;
  readonly oper: LinkState;
  /** Width of the octet and packet counters below (RFC 2863 section 3.1.6). */
  readonly counterBits: 32 | 64;
  readonly inOctets: bigint | null;
  readonly outOctets: bigint | null;
  readonly inPackets: bigint | null;
  readonly outPackets: bigint | null;
  readonly inErrors: bigint | null;
  readonly outErrors: bigint | null;
  readonly inDiscards: bigint | null;
  readonly outDiscards: bigint | null;
  /** Differs when the device started these counters anew other than by a boot (RFC 2863 ifCounterDiscontinuityTime). */
  readonly discontinuity?: string | null;
}

/** Probes sent towards a target and those that got no answer (RFC 2680 is the one-way analogue). */
export interface LossReading {
  readonly target: string;
  readonly sent: number;
  readonly lost: number;
}

/** The state of a device at an instant. What could not be read is null and named in `notRead`. */
export interface Reading {
  /** RFC 3339, with zone. */
  readonly at: string;
  readonly boot: string | null;
  readonly uptimeSeconds: number | null;
  readonly interfaces: readonly InterfaceReading[];
  readonly memory: { readonly totalBytes: number; readonly freeBytes: number } | null;
  /** Share of processor time in use, 0 to 100, over all processors. */
  readonly processorPercent: number | null;
  readonly loss: readonly LossReading[];
  readonly alarms: readonly string[];
  /** Further fields the handbook reads, by its names. */
  readonly fields: Readonly<Record<string, string | number>>;
  readonly notRead: readonly { readonly what: string; readonly why: string }[];
}
