import {
  type AddressSet,
  exceptAddresses,
  exceptNumbers,
  formatAddresses,
  type NumberSet,
} from '#core/address';
import type { Origin } from '../policy.ts';
import type { TrafficDifference, TrafficRow } from '../row.ts';
import { protocolWord } from './protocols.ts';
import { spans, wordsOfRow } from './row-words.ts';

/** How many values a list shows before the rest is counted. */
const SHOWN = 6;

/** A row in one line: who may reach what, and the verdict before and after. */
export function rowSentence(row: TrafficRow): string {
  const words = wordsOfRow(row);
  const limits = [
    row.path === 'through' ? null : row.path === 'to' ? 'to the device' : 'from the device',
    part('in', words.inInterfaces),
    part('out', words.outInterfaces),
    addressPart('from', row.sources, words.sources),
    addressPart('to', row.destinations, words.destinations),
    numberPart('', row.protocols, words.protocols, 255, protocolWord),
    numberPart('source port', row.sourcePorts, words.sourcePorts, 65535, String),
    numberPart('port', row.destinationPorts, words.destinationPorts, 65535, String),
    part('', words.icmp),
    part('state', words.states),
    words.conditions.length === 0 ? null : `if ${words.conditions.join(' and ')}`,
  ].filter((limit) => limit !== null);
  const what = limits.length === 0 ? `all IPv${row.family} traffic` : `IPv${row.family} ${limits.join(' ')}`;
  return `${outcome(words.before, words.rewrite?.before)} -> ${outcome(words.after, words.rewrite?.after)}: ${what}`;
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
  return difference.rows.map(rowSentence);
}

/** A set that leaves out less than it holds is named by what it leaves out. */
function addressPart(word: string, set: AddressSet | undefined, values: readonly string[]): string | null {
  const but = set === undefined ? [] : formatAddresses(exceptAddresses(set));
  return but.length > 0 && but.length < values.length ? part(`${word} any but`, but) : part(word, values);
}

function numberPart(
  word: string,
  set: NumberSet | undefined,
  values: readonly string[],
  top: number,
  name: (value: number) => string,
): string | null {
  const but = set === undefined ? [] : spans(exceptNumbers(set, top), name);
  return but.length > 0 && but.length < values.length
    ? part(`${word} any but`.trim(), but)
    : part(word, values);
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
