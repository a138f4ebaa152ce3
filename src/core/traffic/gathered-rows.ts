import { outcomesText, type RowTexts, rowTexts, sharedOutcome } from './describe.ts';
import { STATES } from './difference/fields.ts';
import type { InterfaceTerm, TrafficRow } from './row.ts';

/** Rows for reading: several that differ only in interface, state and translation, as one. */
export interface GatheredRow {
  /** All their packets. An outcome has no translations where they differ; the example and its rules are of the first. */
  readonly row: TrafficRow;
  /** The rows it was gathered from. */
  readonly parts: readonly TrafficRow[];
}

type Side = 'inInterfaces' | 'outInterfaces';

/**
 * Gathers rows with the same verdicts and the same deciding rules. A set of packets that is translated only where it
 * leaves by one interface, and only when a connection is new, is then one row and not three. No packet is added or lost.
 */
export function gatherRows(rows: readonly TrafficRow[]): GatheredRow[] {
  const single = rows.map((row): GatheredRow => ({ row, parts: [row] }));
  return gatherOver('inInterfaces', gatherOver('outInterfaces', single));
}

/** What packets of a gathered row are translated, in words: `leaving on wan0, new: drop -> accept with masquerade`. Empty: all alike. */
export function translationParts({ row, parts }: GatheredRow): string[] {
  const whole = outcomesText(row);
  const texts = rowTexts(row);
  return parts
    .filter((part) => outcomesText(part) !== whole)
    .map((part) => `${limitsText(part, texts)}: ${outcomesText(part)}`);
}

function limitsText(part: TrafficRow, whole: RowTexts): string {
  const own = rowTexts(part);
  const differs = (field: keyof RowTexts) => own[field].join() !== whole[field].join();
  return [
    differs('inInterfaces') ? `arriving on ${own.inInterfaces.join(', ')}` : '',
    differs('outInterfaces') ? `leaving on ${own.outInterfaces.join(', ')}` : '',
    differs('states') ? own.states.join(', ') : '',
  ]
    .filter((text) => text !== '')
    .join(', ');
}

function gatherOver(side: Side, gathered: readonly GatheredRow[]): GatheredRow[] {
  const alike = groupBy(gathered, ({ row }) => keyBut(side, row));
  return [...alike.values()].flatMap((group) => {
    const bySide = groupBy(group, ({ row }) => interfacesKey(row[side]));
    const states = [...bySide.values()].map((same) => unitedStates(same.map(({ row }) => row.states)));
    // Only where every interface has the same states is the union again a set of interfaces times a set of states.
    if (group.length < 2 || new Set(states.map(String)).size > 1) return group;
    const parts = group.flatMap((g) => g.parts);
    const row: TrafficRow = {
      ...group[0]!.row,
      [side]: unitedInterfaces([...bySide.values()].map((same) => same[0]!.row[side])),
      states: states[0],
      before: sharedOutcome(parts.map(({ before }) => before)),
      after: sharedOutcome(parts.map(({ after }) => after)),
    };
    return [{ row, parts }];
  });
}

function keyBut(side: Side, row: TrafficRow): string {
  const { before, after, ruleBefore, ruleAfter, states, example, [side]: _, ...rest } = row;
  const rules = [ruleBefore, ruleAfter].map((rule) => rule?.origin ?? null);
  return JSON.stringify([before.verdict, after.verdict, rules, rest]);
}

function interfacesKey(terms: readonly InterfaceTerm[] | undefined): string {
  return JSON.stringify(terms ?? null);
}

function unitedInterfaces(lists: readonly TrafficRow[Side][]): TrafficRow[Side] {
  return lists.includes(undefined) ? undefined : lists.flatMap((terms) => terms!);
}

function unitedStates(lists: readonly TrafficRow['states'][]): TrafficRow['states'] {
  if (lists.includes(undefined)) return undefined;
  const all = new Set(lists.flatMap((states) => states!));
  return all.size === STATES.length ? undefined : STATES.filter((state) => all.has(state));
}

function groupBy<T>(items: readonly T[], keyOf: (item: T) => string): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const item of items) {
    const key = keyOf(item);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [item]);
    else group.push(item);
  }
  return groups;
}
