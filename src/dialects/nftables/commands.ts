import type { Chain, Rule, Table } from '../netfilter/index.ts';
import { tableOf } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { withoutElements } from './elements.ts';
import { FAMILIES, takeNewTable, takeTableName } from './families.ts';
import { addElements, elementsAt } from './parse-set.ts';
import { parseNamedChain, parseNamedSet, parseObject, parseTableBlock } from './parse-table.ts';
import type { Reading } from './reading.ts';

/**
 * Reads one command of a script, such as `add rule inet filter forward accept`, and applies it to the ruleset.
 * @throws NotUnderstood when the command is not known or names something that is not there.
 */
export function parseCommand(reading: Reading): void {
  const { cursor } = reading;
  const verb = cursor.take();
  switch (verb) {
    case 'add':
    case 'create':
      add(reading, cursor.take());
      return;
    case 'insert':
    case 'replace':
      changeRule(reading, verb);
      return;
    case 'delete':
    case 'destroy':
      remove(reading);
      return;
    case 'flush':
      flush(reading);
      return;
    case 'rename':
      rename(reading);
      return;
    case 'list':
    case 'monitor':
    case 'describe':
    case 'reset':
    case 'export':
      cursor.skipStatement();
      return;
    default:
      add(reading, verb);
  }
}

function add(reading: Reading, what: string): void {
  const { cursor, ruleset } = reading;
  const start = cursor.start();
  if (what === 'rule' || FAMILIES.has(what)) {
    if (what !== 'rule') cursor.at--;
    changeRule(reading, 'add', what === 'rule');
    return;
  }
  const [family, name] = what === 'table' ? takeNewTable(cursor) : takeTableName(cursor);
  if (what === 'table') {
    const made = tableOf(ruleset, family, name, cursor.placeFrom(start));
    if (cursor.kind() === 123) parseTableBlock(reading, made);
    return;
  }
  const table = tableNamed(reading, family, name);
  if (what === 'chain') parseNamedChain(reading, table, start);
  else if (what === 'set' || what === 'map') parseNamedSet(reading, table, what === 'map', start);
  else if (what === 'element') {
    const set = takeSet(cursor, table);
    addElements(cursor, set);
  } else {
    // `add ct helper TABLE NAME`: the second word of the kind was taken as the table's name.
    if (what === 'ct')
      throw new NotUnderstood('connection tracking objects are read inside a table block only');
    parseObject(cursor, table, what, start);
  }
}

function tableNamed(reading: Reading, family: string, name: string): Table {
  const table = reading.ruleset.tables.get(`${family} ${name}`);
  if (table === undefined) throw new NotUnderstood(`there is no table ${family} ${name} here`);
  return table;
}

function takeSet(cursor: Cursor, table: Table) {
  const name = cursor.take();
  const set = table.sets.get(name);
  if (set === undefined) throw new NotUnderstood(`there is no set ${name} in table ${table.name}`);
  return set;
}

function takeChain(reading: Reading): { table: Table; chain: Chain } {
  const [family, name] = takeTableName(reading.cursor);
  const table = tableNamed(reading, family, name);
  const chain = reading.cursor.take();
  const found = table.chains.get(chain);
  if (found === undefined) throw new NotUnderstood(`there is no chain ${chain} in table ${name}`);
  return { table, chain: found };
}

/** Where a rule goes or which rule is meant: `handle 4`, `position 4` (a handle too) or `index 3`. */
function takePosition(cursor: Cursor, chain: Chain): number | null {
  const index = cursor.is('index');
  if (!index && !cursor.is('handle') && !cursor.is('position')) return null;
  cursor.at++;
  const number = Number(cursor.take());
  const at = index ? number : chain.rules.findIndex((rule) => rule.handle === number);
  if (at < 0 || at >= chain.rules.length) {
    throw new NotUnderstood(`the rule with this ${index ? 'index' : 'handle'} is not known here`);
  }
  return at;
}

function changeRule(reading: Reading, how: 'add' | 'insert' | 'replace', wordTaken = false): void {
  const { cursor } = reading;
  if (!wordTaken) cursor.accept('rule');
  const { table, chain } = takeChain(reading);
  const at = takePosition(cursor, chain);
  if (how === 'replace' && at === null) throw new NotUnderstood('which rule to replace is not said');
  const rule: Rule = reading.rule();
  const { rules } = chain;
  reading.addRule(table, chain, rule);
  if (rules.at(-1) !== rule) return;
  if (how === 'add' && at === null) return;
  rules.pop();
  if (how === 'replace') rules.splice(at!, 1, rule);
  else if (how === 'add') rules.splice(at! + 1, 0, rule);
  else rules.splice(at ?? 0, 0, rule);
}

function remove(reading: Reading): void {
  const { cursor, ruleset } = reading;
  const what = cursor.take();
  if (what === 'rule') {
    const { chain } = takeChain(reading);
    const at = takePosition(cursor, chain);
    if (at === null) throw new NotUnderstood('which rule to delete is not said');
    chain.rules.splice(at, 1);
    return;
  }
  const [family, name] = takeTableName(cursor);
  const table = tableNamed(reading, family, name);
  if (what === 'table') ruleset.tables.delete(`${family} ${name}`);
  else if (what === 'chain') table.chains.delete(cursor.take());
  else if (what === 'set' || what === 'map') table.sets.delete(cursor.take());
  else if (what === 'element') {
    const set = takeSet(cursor, table);
    set.elements = withoutElements(set.elements, elementsAt(cursor));
  } else table.objects.delete(`${what} ${cursor.take()}`);
}

function flush(reading: Reading): void {
  const { cursor, ruleset } = reading;
  const what = cursor.take();
  if (what === 'ruleset') {
    const family = cursor.isWord() ? cursor.take() : null;
    for (const [key, table] of ruleset.tables) {
      if (family === null || table.family === family) ruleset.tables.delete(key);
    }
    return;
  }
  const [family, name] = takeTableName(cursor);
  const table = tableNamed(reading, family, name);
  if (what === 'table') for (const chain of table.chains.values()) chain.rules.length = 0;
  else if (what === 'chain') {
    const chain = table.chains.get(cursor.take());
    if (chain === undefined) throw new NotUnderstood(`there is no such chain in table ${name}`);
    chain.rules.length = 0;
  } else if (what === 'set' || what === 'map' || what === 'meter') takeSet(cursor, table).elements = [];
  else throw new NotUnderstood(`"flush ${what}" is not known`);
}

function rename(reading: Reading): void {
  const { cursor } = reading;
  cursor.expect('chain');
  const [family, name] = takeTableName(cursor);
  const table = tableNamed(reading, family, name);
  const old = cursor.take();
  const chain = table.chains.get(old);
  if (chain === undefined) throw new NotUnderstood(`there is no chain ${old} in table ${name}`);
  const renamed = cursor.take();
  table.chains.delete(old);
  table.chains.set(renamed, { ...chain, name: renamed });
}
