/** How one kind of device behaves (a fact of its handbook). */
export interface DeviceKind {
  readonly slots: 1 | 2;
  /** Where an install writes: in place, or into the spare slot, which then boots next. */
  readonly installWrites: 'running' | 'spare';
  /**
   * Which configuration stands beside a release installed into the spare slot: the spare's own stays (`own`, what is
   * meant when this is missing), or the running one is carried over. Says nothing where installs write in place.
   */
  readonly spareConfiguration?: 'own' | 'carried';
  /**
   * True: install, keep, recover and apply either took effect or did not, even over a power loss. Missing or false:
   * a slot being written holds nothing known until the write is done.
   */
  readonly writesWhole?: boolean;
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
  /** True: the running slot was written since the device booted, so the device still runs what it held before. */
  readonly restartDue?: boolean;
}

/** The slot the device runs from. */
export function runningSlot(state: SlotState): SlotContent {
  return state.slots[state.running]!;
}

/** Index of the other slot, or null on a one-slot device. */
export function spareIndex(state: SlotState): number | null {
  return state.slots.length === 2 ? 1 - state.running : null;
}

/** The other slot, or null on a one-slot device. */
export function spareSlot(state: SlotState): SlotContent | null {
  const index = spareIndex(state);
  return index === null ? null : state.slots[index]!;
}

/** Are these the same pair? An unknown release or configuration equals nothing, not even another unknown one. */
export function samePair(a: Pair, b: Pair): boolean {
  return (
    a.release !== null &&
    a.configuration !== null &&
    a.release === b.release &&
    a.configuration === b.configuration
  );
}

/** The same state with one slot's content changed. */
export function withSlot(state: SlotState, index: number, change: Partial<SlotContent>): SlotState {
  return { ...state, slots: state.slots.map((slot, i) => (i === index ? { ...slot, ...change } : slot)) };
}
