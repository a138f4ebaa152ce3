import { type Naming, outcomesText, rowText } from './describe.ts';
import { type GatheredRow, gatherRows } from './gathered-rows.ts';
import type { TrafficDifference } from './row.ts';

/** The whole answer in one or two sentences; rows are counted as they are gathered for reading. */
export function differenceSentence(difference: TrafficDifference): string {
  const { verdict, rows, unresolved, exact, unread } = difference;
  const but = exact
    ? ''
    : ` Exact but for ${unread.length === 1 ? 'one statement' : `${unread.length} statements`} not read.`;
  if (verdict === 'equal') return `No packet is treated differently${exact ? ' (proved)' : ''}.${but}`;
  if (verdict === 'undecided' && unresolved.length === 0)
    return `By what was read no packet is treated differently, but the versions differ in what was not read.${but}`;
  if (verdict === 'undecided') return `Whether packets are treated differently could not be decided.${but}`;
  const open =
    unresolved.length === 0 ? '' : ` In ${unresolved.length} more places it could not be decided in full.`;
  return `Packets are treated differently: ${count(gatherRows(rows).length, 'row')}.${open}${but}`;
}

/** A row with its verdicts: `drop -> accept, through: tcp from … to … port 443, new`. */
export function rowSentence({ row, families }: GatheredRow, naming: Naming = {}): string {
  const path = row.path === 'through' ? 'through' : `${row.path} the device`;
  return `${outcomesText(row)}, ${path}: ${rowText(row, naming, families)}`;
}

function count(n: number, word: string): string {
  return n === 1 ? `one ${word}` : `${n} ${word}s`;
}
