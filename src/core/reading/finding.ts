export type Judgement = 'same' | 'better' | 'worse' | 'unknown';

export type FindingKind =
  | 'boot'
  | 'interface'
  | 'errors'
  | 'loss'
  | 'memory'
  | 'processor'
  | 'alarm'
  | 'field'
  | 'not-read';

/** One point of a comparison of two readings. */
export interface Finding {
  readonly kind: FindingKind;
  /** What was compared, such as `interface outside` or `loss towards 192.0.2.1`. */
  readonly what: string;
  readonly before: string;
  readonly after: string;
  readonly judgement: Judgement;
  readonly why: string;
  /** Does an unknown here keep the comparison from saying `well`? */
  readonly decides: boolean;
}

/** What a comparison allows. Defaults in brackets; shares from 0 to 1. */
export interface CompareOptions {
  /** Level under which a difference of shares counts as real [0.01]. */
  readonly significance?: number;
  /** Free memory may fall by this share of the total [0.05]. Common practice, no source. */
  readonly memoryShare?: number;
  /** Processor use may rise by so many points [20]. Common practice, no source. */
  readonly processorPoints?: number;
  /** Errors or discards may rise by this share of all packets [0.0001]. Common practice, no source. */
  readonly errorShare?: number;
  /** Did the device boot in between? Where the caller knows; otherwise it is read off boot id and uptime. */
  readonly booted?: boolean;
  /** How handbook fields are judged [any]: any change is open, must stay the same, or more or less of it is worse. */
  readonly fields?: Readonly<Record<string, FieldRule>>;
}

export type FieldRule = 'any' | 'same' | 'more is worse' | 'less is worse';

export type Settled = Required<Omit<CompareOptions, 'booted'>>;

export function settle(options: CompareOptions): Settled {
  return {
    significance: options.significance ?? 0.01,
    memoryShare: options.memoryShare ?? 0.05,
    processorPoints: options.processorPoints ?? 20,
    errorShare: options.errorShare ?? 0.0001,
    fields: options.fields ?? {},
  };
}

/** A share in per cent, as precise as it needs to be. */
export function percent(share: number): string {
  const value = share * 100;
  if (value === 0) return '0 %';
  return `${value >= 10 ? value.toFixed(0) : value >= 0.1 ? value.toFixed(1) : value.toPrecision(1)} %`;
}
