/** Reads what `nft -j list ruleset` prints (libnftables-json(5)) into a ruleset, object by object. */
import type { SourceFile } from '#core/config';
import {
  hookPriority,
  newChain,
  newSet,
  nothingWorked,
  type Place,
  type Ruleset,
  type Statement,
  type Table,
  tableOf,
} from '../../netfilter/index.ts';
import { NotUnderstood } from '../cursor.ts';
import { elementsFrom, isRecord, type Json, single } from './expression.ts';
import { type Item, splitItems } from './split.ts';
import { mentionsIn, statementFrom } from './statement.ts';

export { isJsonRuleset } from './split.ts';

/**
 * Adds the objects of a JSON listing to the ruleset. An object not understood is noted as unread.
 * @throws TuckpointError `dialects/truncated`, `dialects/too-deep`, `dialects/not-json`.
 */
export function parseJson(ruleset: Ruleset, file: SourceFile): void {
  for (const item of splitItems(file)) {
    const place = { file: file.name, start: item.start, end: item.end };
    try {
      readItem(ruleset, item, place);
    } catch (error) {
      if (!(error instanceof NotUnderstood)) throw error;
      ruleset.unread.push({ place, why: error.message, within: null, mayAffectTraffic: true });
    }
  }
}

/** Objects of a listing. Commands other than `add` and `create` change what stands before and are not followed. */
const KNOWN: ReadonlySet<string> = new Set([
  'table',
  'chain',
  'rule',
  'set',
  'map',
  'element',
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

function readItem(ruleset: Ruleset, item: Item, place: Place): void {
  let [what, body] = single(item.value);
  if (what === 'metainfo') return;
  if (what === 'flush' && isRecord(body) && 'ruleset' in body) {
    ruleset.tables.clear();
    return;
  }
  if (what === 'add' || what === 'create') [what, body] = single(body);
  if (!KNOWN.has(what)) throw new NotUnderstood(`"${what}" is not known here`);
  if (!isRecord(body)) throw new NotUnderstood(`"${what}" holds no object`);
  const family = String(body.family ?? 'ip');
  if (what === 'table') {
    const table = tableOf(ruleset, family, String(body.name), place);
    table.dormant = flagsOf(body.flags).includes('dormant');
    return;
  }
  const table = tableOf(ruleset, family, String(body.table), place);
  readInto(table, what, body, place);
}

function readInto(table: Table, what: string, body: Json, place: Place): void {
  const name = String(body.name);
  switch (what) {
    case 'chain':
      readChain(table, name, body, place);
      return;
    case 'rule':
      readRule(table, body, place);
      return;
    case 'set':
    case 'map': {
      const set = newSet(name, what === 'map', place);
      set.type = typeText(body.type);
      set.dataType = what === 'map' ? typeText(body.map) : '';
      const flags = flagsOf(body.flags);
      set.flags = body.timeout === undefined || flags.includes('timeout') ? flags : [...flags, 'timeout'];
      set.settings = settingsOf(body);
      if (typeof body.comment === 'string') set.comment = body.comment;
      set.elements = body.elem === undefined ? [] : elementsFrom(body.elem);
      table.sets.set(name, set);
      return;
    }
    case 'element':
      table.sets.get(name)?.elements.push(...elementsFrom(body.elem));
      return;
    default:
      table.objects.set(`${what} ${name}`, { what, name, place, text: objectText(body) });
  }
}

/** The same words as the text has, as far as they are said alike there. */
function settingsOf(body: Json): string[] {
  const words = ['size', 'timeout', 'gc-interval'].filter((word) => body[word] !== undefined);
  return [
    ...words.map((word) => `${word} ${String(body[word])}`),
    ...(body.policy === undefined || body.policy === 'performance' ? [] : [`policy ${String(body.policy)}`]),
    ...(body['auto-merge'] === true ? ['auto-merge'] : []),
    ...(body.stmt === undefined ? [] : [JSON.stringify(body.stmt)]),
  ];
}

/** An object of another kind, without what was counted so far and what its place in the list says. */
function objectText(body: Json): string {
  const { family: _f, table: _t, name: _n, handle: _h, used: _u, ...rest } = body;
  const { packets: _p, bytes, ...counted } = rest;
  // The bytes of a counter are counted; those of a quota are its limit.
  return JSON.stringify('packets' in rest || bytes === undefined ? counted : { ...counted, bytes });
}

function readChain(table: Table, name: string, body: Json, place: Place): void {
  const chain = newChain(name, place);
  if (body.hook !== undefined) {
    const priorityText = String(body.prio);
    const priority = hookPriority(table.family, priorityText);
    if (priority === null) throw new NotUnderstood(`the priority "${priorityText}" is not known`);
    const devices = Array.isArray(body.dev)
      ? body.dev.map(String)
      : body.dev === undefined
        ? []
        : [String(body.dev)];
    chain.hook = { type: String(body.type), hook: String(body.hook), priority, priorityText, devices };
    if (body.policy !== undefined && body.policy !== 'drop' && body.policy !== 'accept')
      throw new NotUnderstood(`the policy "${String(body.policy)}" is not known`);
    chain.policy = body.policy === 'drop' ? 'drop' : 'accept';
  }
  if (typeof body.comment === 'string') chain.comment = body.comment;
  table.chains.set(name, chain);
}

function readRule(table: Table, body: Json, place: Place): void {
  const chain = table.chains.get(String(body.chain));
  if (chain === undefined)
    throw new NotUnderstood(`there is no chain ${String(body.chain)} before this rule`);
  const list: unknown[] = Array.isArray(body.expr) ? body.expr : [];
  const statements: Statement[] = [];
  for (const value of list) {
    try {
      statements.push(statementFrom(value));
    } catch (error) {
      if (!(error instanceof NotUnderstood)) throw error;
      statements.push({ kind: 'opaque', text: JSON.stringify(value), why: error.message });
    }
  }
  chain.rules.push({
    place,
    statements,
    worked: nothingWorked(),
    comment: typeof body.comment === 'string' ? body.comment : null,
    handle: typeof body.handle === 'number' ? body.handle : null,
    mentions: mentionsIn(list, place.start, place.end),
  });
}

const flagsOf = (value: unknown): string[] =>
  Array.isArray(value) ? value.map(String) : value === undefined ? [] : [String(value)];

/** `type` is a word, a list of words for a concatenation, or an expression (typeof). */
function typeText(value: unknown): string {
  if (typeof value === 'string') return value;
  if (Array.isArray(value)) return value.map(String).join(' . ');
  return value === undefined ? '' : `typeof ${JSON.stringify(value)}`;
}
