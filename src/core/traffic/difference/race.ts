import { countBoxes } from './boxes.ts';
import type { Diagram } from './diagram.ts';
import { ordersOf } from './orders.ts';
import type { Ranked } from './ranks.ts';
import { limitedFields } from './remainders.ts';
import { type Stopped, sweep } from './sweep.ts';

export interface RaceBudget {
  /** List entries looked at, over all orders together. */
  readonly work: number;
  /** Diagram nodes of one order. */
  readonly nodes: number;
  /** Stop at the first difference: only whether there is one is asked. */
  readonly first?: boolean;
  /** Any diagram will do: its differences are asked for, not its rows. */
  readonly anyOrder?: boolean;
}

const FIRST_SLICE = 40_000;
const GROWTH = 4;
/** With more rows than this it pays to see whether another order needs fewer. */
const FEW_BOXES = 6;

/** Races several field orders with growing slices of work, and returns the first diagram, or a clearly shorter one. */
export function race(ranked: Ranked, budget: RaceBudget): Diagram | Stopped {
  const orders = ordersOf(limitedFields(ranked.numbers));
  let spent = 0;
  let witness: Stopped['witness'];
  for (let slice = FIRST_SLICE; ; slice *= GROWTH) {
    for (const order of orders) {
      const work = Math.min(slice, budget.work - spent);
      const result = sweep(ranked, order, { ...budget, work });
      spent += result.work;
      if (!('stopped' in result) && budget.anyOrder) return { ...result, work: spent };
      if (!('stopped' in result)) return shortest(ranked, orders, order, result, budget, spent);
      witness ??= result.witness;
      if (budget.first && witness !== undefined) return { stopped: true, work: spent, witness };
      if (spent >= budget.work) return { stopped: true, work: spent, witness };
    }
    // Every order ran out of nodes rather than of work: more work does not help.
    if (slice >= budget.work) return { stopped: true, work: spent, witness };
  }
}

function shortest(
  ranked: Ranked,
  orders: readonly number[][],
  won: readonly number[],
  first: Diagram,
  budget: RaceBudget,
  spent: number,
): Diagram {
  let best = first;
  let boxes = countBoxes(first);
  let work = spent;
  for (const order of orders) {
    if (order === won || boxes <= FEW_BOXES) continue;
    const allowed = Math.min(Math.max(FIRST_SLICE, 2 * first.work), budget.work - work);
    const other = sweep(ranked, order, { work: allowed, nodes: budget.nodes });
    work += other.work;
    if ('stopped' in other) continue;
    const count = countBoxes(other);
    if (count < boxes) {
      best = other;
      boxes = count;
    }
  }
  return { ...best, work };
}
