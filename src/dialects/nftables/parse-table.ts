import type { Table } from '../netfilter/index.ts';
import type { Cursor } from './cursor.ts';
import { NotUnderstood, Scope } from './cursor.ts';
import { chainOf, parseChainBody } from './parse-chain.ts';
import { parseSetBody, setOf } from './parse-set.ts';
import type { Reading } from './reading.ts';

/** Things in a table that carry a name and a block, besides chains, sets and maps. */
const OBJECTS: ReadonlySet<string> = new Set([
  'flowtable',
  'counter',
  'quota',
  'limit',
  'ct helper',
  'ct timeout',
  'ct expectation',
  'secmark',
  'synproxy',
]);

/** Reads `{ … }` after `table FAMILY NAME`. */
export function parseTableBlock(reading: Reading, table: Table): void {
  const { cursor } = reading;
  const opened = cursor.start();
  cursor.expectKind(123);
  const outer = cursor.scope;
  cursor.scope = new Scope(outer);
  parseTableItems(reading, table);
  cursor.scope = outer;
  reading.close(opened);
}

function parseTableItems(reading: Reading, table: Table): void {
  const { cursor } = reading;
  for (;;) {
    cursor.skipNewlines();
    if (cursor.kind() === 125 || cursor.kind() === 0) return;
    parseTableItem(reading, table);
  }
}

function parseTableItem(reading: Reading, table: Table): void {
  const { cursor } = reading;
  const start = cursor.start();
  if (/^(define|redefine|undefine|include)$/.test(cursor.word())) {
    reading.directive((inner) => parseTableItems(inner, table));
    return;
  }
  reading.guarded({ table: `${table.family} ${table.name}`, chain: null }, () => {
    const word = cursor.take();
    if (word === 'chain') parseNamedChain(reading, table, start);
    else if (word === 'set' || word === 'map') parseNamedSet(reading, table, word === 'map', start);
    else if (word === 'flags') {
      do if (cursor.take() === 'dormant') table.dormant = true;
      while (cursor.acceptKind(44));
    } else if (word === 'comment') table.comment = cursor.take();
    else parseObject(cursor, table, word, start);
  });
}

/** `NAME { … }` after the word `chain`. */
export function parseNamedChain(reading: Reading, table: Table, start: number): void {
  const { cursor } = reading;
  const name = cursor.take();
  const chain = chainOf(table, name, cursor, start);
  if (cursor.kind() !== 123) return;
  const opened = cursor.start();
  cursor.at++;
  const outer = cursor.scope;
  cursor.scope = new Scope(outer);
  parseChainBody(reading, table, chain);
  cursor.scope = outer;
  reading.close(opened);
  if (chain.place.file === cursor.tokens.lines.file && chain.place.start === start)
    chain.place = cursor.placeFrom(start);
}

/** `NAME { … }` after the word `set` or `map`. */
export function parseNamedSet(reading: Reading, table: Table, map: boolean, start: number): void {
  const { cursor } = reading;
  const set = setOf(table, cursor.take(), map, cursor, start);
  if (cursor.kind() !== 123) return;
  const opened = cursor.start();
  cursor.at++;
  parseSetBody(reading, table, set);
  reading.close(opened);
  set.place = cursor.placeFrom(start);
}

/** What was counted so far is no part of a configuration. */
function withoutState(what: string, text: string): string {
  if (what === 'counter') return text.replace(/\b(?:packets|bytes)\s+\d+\s*/g, '');
  return what === 'quota' ? text.replace(/\bused\s+\d+\s+\w+\s*/g, '') : text;
}

/** `counter NAME { … }` and the like; the content is kept as text. */
export function parseObject(cursor: Cursor, table: Table, word: string, start: number): void {
  const what = word === 'ct' ? `ct ${cursor.take()}` : word;
  if (!OBJECTS.has(what)) {
    throw new NotUnderstood(`"${what}" is not known in a table`);
  }
  const name = cursor.take();
  const bodyStart = cursor.start();
  if (cursor.kind() === 123) cursor.skipBraces();
  else while (!cursor.atStatementEnd()) cursor.at++;
  const text = withoutState(what, cursor.textFrom(bodyStart));
  table.objects.set(`${what} ${name}`, { what, name, place: cursor.placeFrom(start), text });
}
