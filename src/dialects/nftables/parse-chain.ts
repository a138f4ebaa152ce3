import type { Chain, Expression, Table } from '../netfilter/index.ts';
import { hookPriority, newChain } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { parseExpression } from './parse-expression.ts';
import type { Reading } from './reading.ts';

/** The chain with this name, made when the table lacks it. */
export function chainOf(table: Table, name: string, cursor: Cursor, start: number): Chain {
  const known = table.chains.get(name);
  if (known !== undefined) return known;
  const chain = newChain(name, cursor.placeFrom(start));
  table.chains.set(name, chain);
  return chain;
}

/** Reads the inside of `chain NAME { … }`, up to the closing brace. */
export function parseChainBody(reading: Reading, table: Table, chain: Chain): void {
  const { cursor } = reading;
  for (;;) {
    cursor.skipNewlines();
    if (cursor.kind() === 125 || cursor.kind() === 0) return;
    if (cursor.is('define') || cursor.is('redefine') || cursor.is('include'))
      reading.directive((inner) => parseChainBody(inner, table, chain));
    else if (cursor.is('type') && cursor.isWord(1)) {
      reading.guarded({ table: `${table.family} ${table.name}`, chain: chain.name }, () =>
        parseHook(cursor, table, chain),
      );
    } else if (cursor.is('policy') && cursor.isWord(1)) {
      reading.guarded({ table: `${table.family} ${table.name}`, chain: chain.name }, () =>
        parsePolicy(cursor, chain),
      );
    } else if (cursor.is('comment')) {
      cursor.at++;
      chain.comment = cursor.take();
    } else if (cursor.is('flags') && cursor.isWord(1)) cursor.skipStatement();
    else reading.addRule(table, chain, reading.rule());
  }
}

function parsePolicy(cursor: Cursor, chain: Chain): void {
  cursor.expect('policy');
  const policy = cursor.kind() === 36 ? parseExpression(cursor) : cursor.take();
  if (policy !== 'accept' && policy !== 'drop') throw new NotUnderstood('a policy is accept or drop');
  chain.policy = policy;
}

/** `type filter hook forward [device X | devices = { … }] priority filter + 10` */
function parseHook(cursor: Cursor, table: Table, chain: Chain): void {
  cursor.expect('type');
  const type = cursor.take();
  cursor.expect('hook');
  const hook = cursor.take();
  const devices: string[] = [];
  if (cursor.accept('device')) devices.push(...wordsIn(parseExpression(cursor)));
  if (cursor.accept('devices')) {
    cursor.expectKind(61);
    devices.push(...wordsIn(parseExpression(cursor)));
  }
  cursor.expect('priority');
  const start = cursor.start();
  const base = cursor.kind() === 36 || cursor.kind() === 45 ? parseExpression(cursor) : cursor.take();
  let text = typeof base === 'string' ? base : '';
  // `filter - 10` comes as one name and signs, or as the name `filter-10`.
  if (cursor.kind() === 43 || cursor.kind() === 45) {
    const sign = cursor.kind() === 43 ? '+' : '-';
    cursor.at++;
    text += ` ${sign} ${cursor.take()}`;
  }
  const priority = hookPriority(table.family, text);
  if (priority === null) throw new NotUnderstood(`the priority "${cursor.textFrom(start)}" is not known`);
  chain.hook = { type, hook, priority, priorityText: text, devices };
  chain.policy ??= 'accept';
}

function wordsIn(value: Expression): string[] {
  if (typeof value === 'string') return [value];
  if (value.kind === 'set') return value.elements.flatMap(wordsIn);
  if (value.kind === 'list') return value.items.flatMap(wordsIn);
  return [];
}
