/** How one kind of device behaves (a fact of its handbook). */
export interface DeviceKind {
  readonly slots: 1 | 2;
  /** Where an install writes: in place, or into the spare slot, which then boots next. */
  readonly installWrites: 'running' | 'spare';
}

/** A firmware release and a configuration (by digest), together as one slot holds them. Null: empty or unknown. */
export interface Pair {
  readonly release: string | null;
  readonly configuration: string | null;
}

export interface SlotContent extends Pair {
  /** The device's own name for the slot. */
  readonly id: string;
  /** Has exactly this pair booted well on this device? */
  readonly bootedWell: boolean;
}

/** `running` and `next` index `slots`. */
export interface SlotState {
  readonly slots: readonly SlotContent[];
  readonly running: number;
  readonly next: number;
}
