/** What the service tells while it works. `at` is RFC 3339. */
export type ServiceEvent = { readonly at: string } & (
  | {
      readonly kind: 'delivered';
      readonly device: string;
      readonly capture: string;
      readonly files: readonly string[];
    }
  /** A delivery of a known device of which nothing was stored. */
  | { readonly kind: 'refused'; readonly device: string; readonly code: string; readonly reason: string }
  /** Somebody came with a wrong token. */
  | { readonly kind: 'denied'; readonly address: string }
  | { readonly kind: 'late'; readonly device: string; readonly reason: string }
  | { readonly kind: 'round-begun'; readonly due: string }
  | {
      readonly kind: 'round-ended';
      readonly due: string;
      readonly done: number;
      readonly of: number;
      readonly concerns: number;
      /** It was stopped before its last device, and is due again at the next start. */
      readonly cut: boolean;
      readonly next: string | null;
    }
  /** Something went wrong in the workbench itself; what it was doing is tried again later. */
  | { readonly kind: 'fault'; readonly reason: string }
);

/** An event before it has its time. */
export type NewServiceEvent = ServiceEvent extends infer E
  ? E extends ServiceEvent
    ? Omit<E, 'at'>
    : never
  : never;
