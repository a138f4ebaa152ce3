import type { Family } from '#core/address';
import { decide } from '../decide.ts';
import type { Packet } from '../packet.ts';
import type { Match, Path, Policy, Verdict } from '../policy.ts';
import type { TrafficBudget, TrafficRow } from '../row.ts';
import { changesOf } from './changes.ts';
import { rankSides } from './compare.ts';
import { type OpenComparison, openComparison } from './comparison.ts';
import { equalByDiagram } from './fallback.ts';
import type { Box } from './fields.ts';
import { loadStage } from './load.ts';
import { type Item, type Outcome, programOf } from './program.ts';
import { race } from './race.ts';
import { slotsOf } from './slots.ts';
import { boxOf, firstView } from './view.ts';
import { packetAt } from './witness.ts';

/** The part of a flow that is not treated as wanted. */
export interface FlowAnswer {
  /** Rows in which the policy's verdict (`before`) is not the wanted one (`after`). None: the whole flow is as wanted. */
  readonly rows: readonly TrafficRow[];
  /** False when rows are missing. */
  readonly complete: boolean;
  /** Set when the rows cost too much: one packet that is not as wanted, or not known. */
  readonly stopped: Packet | 'undecided' | undefined;
}

const AS_WANTED: FlowAnswer = { rows: [], complete: true, stopped: undefined };

/**
 * Which packets of a flow a policy does not treat as wanted. Translations do not count, and drop and reject count as
 * one: passing or not passing is what is asked.
 */
export function flowExcept(
  policy: Policy,
  path: Path,
  family: Family,
  flow: Match,
  wanted: 'accept' | 'drop',
  budget: TrafficBudget,
): FlowAnswer {
  const asked = flowItems(policy, path, family, flow);
  if (asked === undefined) return AS_WANTED;
  const { comparison, box } = asked;
  const before = within(
    box,
    asked.items.map((item) =>
      item.outcome === undefined ? item : { ...item, outcome: passing(item.outcome.verdict) },
    ),
  );
  const after = [entry(box, passing(wanted), true), entry([], OUTSIDE, false)];
  const ranked = rankSides(comparison, before, after, [box]);
  const result = race(ranked, budget);
  if (!('stopped' in result)) {
    const changes = changesOf(comparison, { ranked, before, after, changed: [] }, result, budget);
    return {
      rows: changes.flatMap((change) => change.rows),
      complete: changes.every((change) => change.complete),
      stopped: undefined,
    };
  }
  const found = equalByDiagram(ranked, budget.nodes);
  if (found.answer === 'equal') return AS_WANTED;
  for (const witness of [result.witness, found.answer === 'different' ? found.witness : undefined]) {
    if (witness === undefined) continue;
    const packet = packetAt(comparison, ranked, witness);
    const passes = decide(policy, packet).verdict === 'accept';
    if (passes !== (wanted === 'accept')) return { rows: [], complete: false, stopped: packet };
  }
  return { rows: [], complete: false, stopped: 'undecided' };
}

/** The items that a flow can meet, every way followed to its end; undefined when the flow holds no packet. */
function flowItems(
  policy: Policy,
  path: Path,
  family: Family,
  flow: Match,
): { comparison: OpenComparison; box: Box; items: Item[] } | undefined {
  const rule = {
    match: flow,
    action: { verdict: 'accept' as const },
    origin: { file: '', line: 0, text: '' },
  };
  const asked = loadStage({ kind: 'filter', name: 'flow', rules: [rule] }, family);
  const comparison = openComparison(slotsOf(policy, policy, path, family), asked, true);
  const box = boxOf(asked.rules[0]!, firstView(path), comparison);
  if (box === undefined) return undefined;
  return { comparison, box, items: programOf(comparison, 'before', [box], new Set()) };
}

export const OUTSIDE: Outcome = { key: 'outside', verdict: 'drop', rewrites: [] };

/** The verdict with everything but passing or not taken away. */
function passing(verdict: Verdict): Outcome {
  return {
    key: verdict === 'accept' ? 'passes' : 'does not pass',
    verdict: verdict === 'accept' ? 'accept' : 'drop',
    rewrites: [],
  };
}

export function entry(box: Box, outcome: Outcome | undefined, changed: boolean, target = -1): Item {
  return { box, outcome, target, changed, cause: -1, rule: undefined };
}

/** The items for packets of the box alone; all others leave at once. */
export function within(box: Box, items: readonly Item[]): Item[] {
  const moved = items.map((item) => ({ ...item, target: item.target < 0 ? -1 : item.target + 2 }));
  return [entry(box, undefined, false, 2), entry([], OUTSIDE, false), ...moved];
}
