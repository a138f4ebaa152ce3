import { after } from './effect.ts';
import { type Operation, operationText } from './operation.ts';
import { type Refusal, refusalOf, type Standing } from './refusal.ts';
import type { DeviceKind, SlotState } from './state.ts';

/** One operation on these slots: what it would make of them, or why it is refused. */
export interface Explanation {
  readonly operation: Operation;
  readonly title: string;
  /** The slots once it took effect; null where it is refused. */
  readonly leaves: SlotState | null;
  readonly refusal: Refusal | null;
}

/** What is meant by an install or an apply in an explanation. */
export interface ExplainOptions extends Standing {
  readonly release?: string;
  readonly configuration?: string;
}

/**
 * Every operation in turn, with the slots it would leave or the sentence that refuses it. Without a release or a
 * configuration in `options`, install and apply speak of `a new release` and `a new configuration`.
 * @throws TuckpointError `slots/state` for a state that fits no device of this kind.
 */
export function explain(
  state: SlotState,
  kind: DeviceKind,
  options: ExplainOptions = {},
): readonly Explanation[] {
  const operations: readonly Operation[] = [
    { name: 'keep' },
    { name: 'install', release: options.release ?? 'a new release' },
    { name: 'recover' },
    { name: 'boot', slot: 'spare' },
    { name: 'restart' },
    { name: 'shutdown' },
    { name: 'apply', configuration: options.configuration ?? 'a new configuration' },
  ];
  return operations.map((operation) => {
    const refusal = refusalOf(state, operation, kind, options);
    return {
      operation,
      title: operationText(operation),
      leaves: refusal === null ? after(state, operation, kind) : null,
      refusal,
    };
  });
}
