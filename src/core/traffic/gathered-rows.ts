import { type Family, isEveryAddress, uniteAddresses } from '#core/address';
import { type Naming, outcomesText, type RowTexts, sharedOutcome, shortTexts } from './describe.ts';
import { STATES } from './difference/fields.ts';
import { groupBy } from './group-by.ts';
import type { TrafficRow } from './row.ts';

/**
 * Rows for reading: several that differ only in one of interfaces and addresses, in state and in translation, as one; and
 * so are two that differ only in the version of IP.
 */
export interface GatheredRow {
  /** All their packets. An outcome has no translations where they differ; the example and its rules are of the first. */
  readonly row: TrafficRow;
  /** The versions of IP it stands for: that of `row`, or both where no address limits it. */
  readonly families: readonly Family[];
  /** The rows it was gathered from. */
  readonly parts: readonly TrafficRow[];
}

/** What may differ within a gathered row, besides states and translations; each is united on its own. */
const UNITED = {
  outInterfaces: unitedInterfaces,
  inInterfaces: unitedInterfaces,
  destinations: unitedAddresses,
  sources: unitedAddresses,
} as const;
type Side = keyof typeof UNITED;

/**
 * Gathers rows with the same verdicts and the same deciding rules. A set of packets that is translated only where it
 * leaves by one interface, and only when a connection is new, is then one row and not three. No packet is added or lost.
 */
export function gatherRows(rows: readonly TrafficRow[]): GatheredRow[] {
  const single = rows.map((row): GatheredRow => ({ row, families: [row.family], parts: [row] }));
  const sides = Object.keys(UNITED) as Side[];
  return joinFamilies(sides.reduce<GatheredRow[]>((gathered, side) => gatherOver(side, gathered), single));
}

/** What packets of a gathered row are translated, in words: `leaving on wan0, new: drop -> accept with masquerade`. Empty: all alike. */
export function translationParts({ row, parts }: GatheredRow, naming: Naming = {}): string[] {
  const whole = outcomesText(row);
  const texts = shortTexts(row, naming);
  return parts
    .filter((part) => outcomesText(part) !== whole)
    .map((part) => `${limitsText(shortTexts(part, naming), texts)}: ${outcomesText(part)}`);
}

/** Where the limits of a part are other than those of the whole. */
function limitsText(own: RowTexts, whole: RowTexts): string {
  const differs = (field: keyof RowTexts) => own[field].join() !== whole[field].join();
  return [
    differs('sources') ? `from ${own.sources.join(', ')}` : '',
    differs('destinations') ? `to ${own.destinations.join(', ')}` : '',
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
    const bySide = groupBy(group, ({ row }) => JSON.stringify(row[side] ?? null));
    const states = [...bySide.values()].map((same) => unitedStates(same.map(({ row }) => row.states)));
    // Only where all have the same states is the union again a set of interfaces, or addresses, times a set of states.
    if (group.length < 2 || new Set(states.map(String)).size > 1) return group;
    const parts = group.flatMap((g) => g.parts);
    const row: TrafficRow = {
      ...group[0]!.row,
      [side]: UNITED[side]([...bySide.values()].map((same) => same[0]!.row[side]) as never),
      states: states[0],
      before: sharedOutcome(parts.map(({ before }) => before)),
      after: sharedOutcome(parts.map(({ after }) => after)),
    };
    return [{ row, families: [row.family], parts }];
  });
}

function keyBut(side: Side, row: TrafficRow): string {
  const { before, after, ruleBefore, ruleAfter, states, example, [side]: _, ...rest } = row;
  const rules = [ruleBefore, ruleAfter].map((rule) => rule?.origin ?? null);
  return JSON.stringify([before.verdict, after.verdict, rules, rest]);
}

/** One row for both versions of IP, where they are alike down to their parts. What addresses limit shows its version. */
function joinFamilies(gathered: readonly GatheredRow[]): GatheredRow[] {
  const alike = groupBy(gathered, (one) => {
    const { row, parts } = one;
    const limited = row.sources !== undefined || row.destinations !== undefined;
    return limited ? one : JSON.stringify([row, ...parts].map(keyOfEither));
  });
  return [...alike.values()].map((group) => ({
    row: group[0]!.row,
    families: group.flatMap(({ families }) => families),
    parts: group.flatMap(({ parts }) => parts),
  }));
}

/** What a row says but for the version of IP. */
function keyOfEither({ family, example, ruleBefore, ruleAfter, ...rest }: TrafficRow): string {
  // Types of ICMP are other ones in the other version.
  const version = rest.icmp === undefined ? null : family;
  return JSON.stringify([rest, version, [ruleBefore, ruleAfter].map((rule) => rule?.origin ?? null)]);
}

function unitedInterfaces(lists: readonly TrafficRow['inInterfaces'][]): TrafficRow['inInterfaces'] {
  return lists.includes(undefined) ? undefined : lists.flatMap((terms) => terms!);
}

function unitedAddresses(sets: readonly TrafficRow['sources'][]): TrafficRow['sources'] {
  if (sets.includes(undefined)) return undefined;
  const all = sets.map((set) => set!).reduce(uniteAddresses);
  return isEveryAddress(all) ? undefined : all;
}

function unitedStates(lists: readonly TrafficRow['states'][]): TrafficRow['states'] {
  if (lists.includes(undefined)) return undefined;
  const all = new Set(lists.flatMap((states) => states!));
  return all.size === STATES.length ? undefined : STATES.filter((state) => all.has(state));
}
