import type { Family } from '#core/address';
import { flowExcept } from './difference/flow.ts';
import type { Packet } from './packet.ts';
import type { Match, Path, Policy, Unread } from './policy.ts';
import { DEFAULT_BUDGET, type TrafficBudget, type TrafficRow } from './row.ts';

/** Traffic that must pass, or must not. */
export interface TrafficPromise {
  /** In the user's words: `The ticket office reaches the booking server`. */
  readonly words: string;
  readonly must: 'pass' | 'not pass';
  readonly path: Path;
  /** The packets meant: all of them must pass, or none may. */
  readonly flow: Match;
  /** Families the promise is about; absent means the family of the flow's addresses, or both. */
  readonly families?: readonly Family[];
}

/** Whether a policy keeps a promise, and where it does not. */
export interface PromiseCheck {
  readonly promise: TrafficPromise;
  readonly answer: 'kept' | 'broken' | 'undecided';
  /** False when a statement that was not read could touch the answer. */
  readonly exact: boolean;
  readonly unread: readonly Unread[];
  /** Packets of the flow that break the promise: `before` and `ruleBefore` say what the policy does with them. */
  readonly rows: readonly TrafficRow[];
  /** Packets that break it, where rows would have cost too much. */
  readonly packets: readonly Packet[];
  /** False when not all that breaks the promise is listed. */
  readonly complete: boolean;
}

/** Checks promises against a policy. A flow without any packet is kept: there is nothing to break. */
export function checkPromises(
  policy: Policy,
  promises: readonly TrafficPromise[],
  budget: TrafficBudget = DEFAULT_BUDGET,
): PromiseCheck[] {
  return promises.map((promise) => checkPromise(policy, promise, budget));
}

function checkPromise(policy: Policy, promise: TrafficPromise, budget: TrafficBudget): PromiseCheck {
  const { path, flow, must } = promise;
  const families = promise.families ?? familiesOf(flow);
  const wanted = must === 'pass' ? 'accept' : 'drop';
  const answers = families.map((family) => flowExcept(policy, path, family, flow, wanted, budget));
  const rows = answers.flatMap((answer) => answer.rows);
  const packets = answers.flatMap(({ stopped }) => (typeof stopped === 'object' ? [stopped] : []));
  const undecided = answers.some(({ stopped }) => stopped === 'undecided');
  const unread = policy.unread.filter(
    (u) =>
      (u.paths === undefined || u.paths.includes(path)) &&
      (u.families === undefined || families.some((family) => u.families!.includes(family))),
  );
  return {
    promise,
    answer: rows.length > 0 || packets.length > 0 ? 'broken' : undecided ? 'undecided' : 'kept',
    exact: unread.length === 0,
    unread,
    rows,
    packets,
    complete: answers.every((answer) => answer.complete),
  };
}

function familiesOf({ source, destination }: Match): Family[] {
  const family = source?.family ?? destination?.family;
  return family === undefined ? [4, 6] : [family];
}
