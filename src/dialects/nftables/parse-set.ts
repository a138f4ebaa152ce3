import type { Expression, NamedSet, Table } from '../netfilter/index.ts';
import { newSet } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { parseElements, parseExpression } from './parse-expression.ts';
import type { Reading } from './reading.ts';

const SECONDS: Readonly<Record<string, number>> = { d: 86_400, h: 3600, m: 60, s: 1, ms: 0.001 };

/** `1h30m` in seconds, as `nft -j` says it; any other text as it is. */
function secondsOf(text: string): string {
  if (!/^(?:\d+(?:ms|[dhms]))+$/.test(text)) return text;
  let seconds = 0;
  for (const [, count, unit] of text.matchAll(/(\d+)(ms|[dhms])/g))
    seconds += Number(count) * SECONDS[unit!]!;
  return String(seconds);
}

/** The set or map with this name, made when the table lacks it. */
export function setOf(table: Table, name: string, map: boolean, cursor: Cursor, start: number): NamedSet {
  const known = table.sets.get(name);
  if (known !== undefined) return known;
  const set = newSet(name, map, cursor.placeFrom(start));
  table.sets.set(name, set);
  return set;
}

/** Adds elements given as a block or a variable. */
export function addElements(cursor: Cursor, set: NamedSet): void {
  for (const element of elementsAt(cursor)) set.elements.push(element);
}

/** Elements given as `{ … }` or as a variable that holds a set, a list or one value. */
export function elementsAt(cursor: Cursor): readonly Expression[] {
  if (cursor.kind() === 123) return parseElements(cursor);
  const value = parseExpression(cursor);
  if (typeof value === 'string') return [value];
  if (value.kind === 'set') return value.elements;
  return value.kind === 'list' ? value.items : [value];
}

/** Reads the inside of `set NAME { … }` or `map NAME { … }`, up to the closing brace. */
export function parseSetBody(reading: Reading, table: Table, set: NamedSet): void {
  const { cursor } = reading;
  cursor.mentions = [];
  for (;;) {
    cursor.skipNewlines();
    if (cursor.kind() === 125 || cursor.kind() === 0) break;
    if (cursor.is('define') || cursor.is('redefine') || cursor.is('include'))
      reading.directive((inner) => parseSetBody(inner, table, set));
    else
      reading.guarded({ table: `${table.family} ${table.name}`, chain: null }, () => parseLine(cursor, set));
  }
  set.mentions = [...set.mentions, ...cursor.mentions];
  cursor.mentions = [];
}

function parseLine(cursor: Cursor, set: NamedSet): void {
  const start = cursor.start();
  const word = cursor.take();
  switch (word) {
    case 'type':
    case 'typeof': {
      const typeStart = cursor.start();
      while (!cursor.atStatementEnd() && cursor.kind() !== 58) cursor.at++;
      const prefix = word === 'typeof' ? 'typeof ' : '';
      set.type = prefix + cursor.textFrom(typeStart);
      if (cursor.acceptKind(58)) {
        const dataStart = cursor.start();
        while (!cursor.atStatementEnd()) cursor.at++;
        set.dataType = cursor.textFrom(dataStart);
      }
      return;
    }
    case 'flags': {
      const flags = [cursor.take()];
      while (cursor.acceptKind(44)) flags.push(cursor.take());
      set.flags = flags;
      return;
    }
    case 'elements':
      cursor.expectKind(61);
      addElements(cursor, set);
      return;
    case 'comment':
      set.comment = cursor.take();
      return;
    case 'timeout':
    case 'gc-interval':
      set.settings = [...set.settings, `${word} ${secondsOf(cursor.take())}`];
      if (word === 'timeout' && !set.flags.includes('timeout')) set.flags = [...set.flags, 'timeout'];
      return;
    case 'size':
    case 'policy': {
      const value = cursor.take();
      // That is the policy of every set unless another is said.
      if (value !== 'performance') set.settings = [...set.settings, `${word} ${value}`];
      return;
    }
    case 'auto-merge':
      set.settings = [...set.settings, word];
      return;
    case 'counter':
    case 'last':
    case 'limit':
    case 'quota':
    case 'ct':
      while (!cursor.atStatementEnd()) cursor.at++;
      set.settings = [...set.settings, cursor.textFrom(start).replace(/\s+/g, ' ')];
      return;
    default:
      throw new NotUnderstood(`"${word}" is not known in a set`);
  }
}
