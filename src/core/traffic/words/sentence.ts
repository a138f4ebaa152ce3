import type { Origin } from '../policy.ts';
import type { TrafficDifference } from '../row.ts';
import { type RowWords, wordsOfRow } from './row-words.ts';

/** How many values a list shows before the rest is counted. */
const SHOWN = 6;

/** A row in one line: who may reach what, and the verdict before and after. */
export function rowSentence(row: RowWords): string {
  const limits = [
    row.path === 'through' ? null : row.path === 'to' ? 'to the device' : 'from the device',
    part('in', row.inInterfaces),
    part('out', row.outInterfaces),
    part('from', row.sources),
    part('to', row.destinations),
    part('', row.protocols),
    part('source port', row.sourcePorts),
    part('port', row.destinationPorts),
    part('', row.icmp),
    part('state', row.states),
    row.conditions.length === 0 ? null : `if ${row.conditions.join(' and ')}`,
  ].filter((limit) => limit !== null);
  const what = limits.length === 0 ? `all IPv${row.family} traffic` : `IPv${row.family} ${limits.join(' ')}`;
  return `${outcome(row.before, row.rewrite?.before)} -> ${outcome(row.after, row.rewrite?.after)}: ${what}`;
}

/** The rules that decide, with their places: `rules.nft:12 "tcp dport 22 accept"`. */
export function ruleSentence(origin: Origin | null): string {
  return origin === null ? 'no rule: it passes' : `${origin.file}:${origin.line} "${origin.text}"`;
}

/** The whole answer in one or two sentences. */
export function differenceSentence(difference: TrafficDifference): string {
  const { verdict, changes, rows, unresolved, exact, unread } = difference;
  const but = exact
    ? ''
    : ` Exact but for ${unread.length === 1 ? 'one statement' : `${unread.length} statements`} not read.`;
  if (verdict === 'equal') return `No packet is treated differently${exact ? ' (proved)' : ''}.${but}`;
  if (verdict === 'undecided') return `Whether packets are treated differently could not be decided.${but}`;
  const open =
    unresolved.length === 0 ? '' : ` In ${unresolved.length} more places it could not be decided in full.`;
  return `Packets are treated differently: ${count(changes.length, 'change')} in ${count(rows.length, 'row')}.${open}${but}`;
}

/** Every row as a line. */
export function rowSentences(difference: TrafficDifference): string[] {
  return difference.rows.map((row) => rowSentence(wordsOfRow(row)));
}

function part(word: string, values: readonly string[]): string | null {
  if (values.length === 1 && values[0] === 'any') return null;
  const shown = values.slice(0, SHOWN).join(', ');
  const more = values.length > SHOWN ? ` and ${values.length - SHOWN} more` : '';
  return `${word === '' ? '' : `${word} `}${shown}${more}`;
}

function outcome(verdict: string, rewrite: string | null | undefined): string {
  return rewrite === null || rewrite === undefined ? verdict : `${verdict} (${rewrite})`;
}

function count(n: number, word: string): string {
  return n === 1 ? `one ${word}` : `${n} ${word}s`;
}
