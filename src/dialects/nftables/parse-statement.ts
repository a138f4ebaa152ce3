import type { Comparison, Expression, Nat, Statement } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { parseElements, parseExpression, parseVerdict } from './parse-expression.ts';
import { fieldBegins, parseField } from './parse-field.ts';
import { AT_LEAST, AT_MOST, EQUAL, NOT_EQUAL } from './tokens.ts';

const NAT_FLAGS: ReadonlySet<string> = new Set(['random', 'fully-random', 'persistent', 'netmap']);

/**
 * Reads one statement of a rule.
 * @throws NotUnderstood; the caller turns the stretch into an opaque statement.
 */
export function parseStatement(cursor: Cursor): Statement {
  const verdict = cursor.is('queue') ? null : parseVerdict(cursor);
  if (verdict !== null) return verdict;
  const start = cursor.start();
  if (cursor.isWord()) {
    const known = parseByWord(cursor, start);
    if (known !== null) return known;
  }
  return parseMatch(cursor);
}

function parseByWord(cursor: Cursor, start: number): Statement | null {
  const word = cursor.word();
  switch (word) {
    case 'counter':
      cursor.at++;
      if (cursor.accept('name')) named(cursor);
      else while (cursor.is('packets') || cursor.is('bytes')) cursor.at += 2;
      return { kind: 'inert', text: 'counter' };
    case 'last':
      cursor.at++;
      if (cursor.accept('used')) cursor.take();
      return { kind: 'inert', text: 'last' };
    case 'log':
      return parseLog(cursor, start);
    case 'nftrace':
      cursor.at++;
      cursor.expect('set');
      cursor.take();
      return { kind: 'inert', text: 'nftrace' };
    case 'limit':
      return parseLimit(cursor, start);
    case 'quota':
      return parseQuota(cursor, start);
    case 'reject':
      return parseReject(cursor);
    case 'snat':
    case 'dnat':
    case 'masquerade':
    case 'redirect':
      return parseNat(cursor, word);
    case 'notrack':
      cursor.at++;
      return { kind: 'notrack' };
    case 'dup':
    case 'fwd':
      cursor.at++;
      if (cursor.is('ip') || cursor.is('ip6')) cursor.at++;
      cursor.expect('to');
      parseExpression(cursor, { fields: true });
      if (cursor.accept('device')) parseExpression(cursor, { fields: true });
      return { kind: word === 'dup' ? 'inert' : 'elsewhere', text: cursor.textFrom(start) };
    case 'queue':
      return parseQueue(cursor, start);
    case 'tproxy':
      cursor.at++;
      if (cursor.is('ip') || cursor.is('ip6')) cursor.at++;
      cursor.expect('to');
      parseAddressAndPort(cursor);
      return { kind: 'elsewhere', text: cursor.textFrom(start) };
    case 'synproxy':
      cursor.at++;
      if (cursor.accept('name')) named(cursor);
      while (cursor.isWord() && /^(mss|wscale)$/.test(cursor.word())) cursor.at += 2;
      while (cursor.isWord() && /^(timestamp|sack-perm)$/.test(cursor.word())) cursor.at++;
      return { kind: 'elsewhere', text: cursor.textFrom(start) };
    case 'flow':
      cursor.at++;
      if (!cursor.accept('add')) cursor.expect('offload');
      cursor.expectKind(64);
      cursor.take();
      return { kind: 'elsewhere', text: cursor.textFrom(start) };
    case 'set':
    case 'add':
    case 'update':
    case 'delete':
      return parseUpdate(cursor, start);
    case 'meter':
      cursor.at++;
      cursor.take();
      if (cursor.accept('size')) cursor.take();
      cursor.skipBraces();
      return { kind: 'condition', text: cursor.textFrom(start) };
    case 'ct':
      return parseConnection(cursor, start);
    case 'reset':
      cursor.at++;
      parseField(cursor);
      return { kind: 'inert', text: cursor.textFrom(start) };
    default:
      return null;
  }
}

/** The name of a counter, limit or quota; it may be a lookup in a map of such objects. */
function named(cursor: Cursor): void {
  const start = cursor.start();
  const name = parseExpression(cursor, { fields: true });
  if (typeof name === 'string') cursor.mention('object', name, start);
}

function parseLog(cursor: Cursor, start: number): Statement {
  cursor.at++;
  for (;;) {
    if (cursor.is('flags')) {
      cursor.at++;
      const what = cursor.take();
      if (what === 'tcp' || what === 'ip') {
        do cursor.take();
        while (cursor.acceptKind(44));
      }
    } else if (cursor.isWord() && /^(prefix|level|group|snaplen|queue-threshold)$/.test(cursor.word())) {
      cursor.at++;
      if (cursor.kind() === 36) cursor.at++;
      cursor.take();
    } else return { kind: 'inert', text: cursor.textFrom(start) };
  }
}

function parseLimit(cursor: Cursor, start: number): Statement {
  cursor.at++;
  if (cursor.accept('name')) named(cursor);
  else {
    cursor.expect('rate');
    cursor.accept('over');
    cursor.take();
    // `5/second`, `1 mbytes/second`; the latter comes as one word.
    const unit = cursor.isWord() ? cursor.take() : '';
    if (!unit.includes('/')) {
      cursor.expectKind(47);
      cursor.take();
    }
    if (cursor.accept('burst')) {
      cursor.take();
      cursor.take();
    }
  }
  return { kind: 'condition', text: cursor.textFrom(start) };
}

function parseQuota(cursor: Cursor, start: number): Statement {
  cursor.at++;
  if (cursor.accept('name')) {
    named(cursor);
    return { kind: 'condition', text: cursor.textFrom(start) };
  }
  if (!cursor.accept('over')) cursor.accept('until');
  cursor.take();
  cursor.take();
  const text = cursor.textFrom(start);
  if (cursor.accept('used')) cursor.at += 2;
  return { kind: 'condition', text };
}

function parseReject(cursor: Cursor): Statement {
  cursor.at++;
  if (!cursor.accept('with')) return { kind: 'reject', with: '' };
  const layer = cursor.take();
  if (layer === 'tcp') {
    cursor.expect('reset');
    return { kind: 'reject', with: 'tcp reset' };
  }
  if (!/^icmp(v6|x)?$/.test(layer)) throw new NotUnderstood(`"reject with ${layer}" is not known`);
  cursor.accept('type');
  return { kind: 'reject', with: `${layer} ${cursor.take()}` };
}

function parseQueue(cursor: Cursor, start: number): Statement {
  cursor.at++;
  for (;;) {
    if (cursor.accept('num') || cursor.accept('to')) parseExpression(cursor, { fields: true });
    else if (cursor.accept('flags')) {
      do cursor.take();
      while (cursor.acceptKind(44));
    } else if (cursor.is('bypass') || cursor.is('fanout')) {
      cursor.at++;
      cursor.acceptKind(44);
    } else return { kind: 'elsewhere', text: cursor.textFrom(start) };
  }
}

function parseUpdate(cursor: Cursor, start: number): Statement {
  if (cursor.is('set')) cursor.at++;
  cursor.at++;
  cursor.expectKind(64);
  const nameStart = cursor.start();
  const set = cursor.take();
  cursor.mention('set', set, nameStart);
  const first = cursor.at;
  cursor.skipBraces();
  let counts = false;
  for (let i = first - cursor.at; i < 0; i++) {
    counts ||= cursor.is('limit', i) || cursor.is('quota', i) || cursor.is('count', i);
  }
  const text = cursor.textFrom(start);
  return counts ? { kind: 'condition', text } : { kind: 'update', set, text };
}

function parseConnection(cursor: Cursor, start: number): Statement | null {
  const next = cursor.isWord(1) ? cursor.word(1) : '';
  if (next === 'count') {
    cursor.at += 2;
    cursor.accept('over');
    cursor.take();
    return { kind: 'condition', text: cursor.textFrom(start) };
  }
  if (/^(timeout|expectation|helper|event)$/.test(next) && cursor.is('set', 2)) {
    cursor.at += 3;
    parseExpression(cursor, { fields: true, list: true });
    return { kind: 'inert', text: cursor.textFrom(start) };
  }
  return null;
}

interface Target {
  readonly address: Expression | null;
  readonly port: Expression | null;
}

/** `address`, `address:port`, `:port`; an address with colons stands in square brackets when a port follows. */
function parseAddressAndPort(cursor: Cursor): Target {
  let address: Expression | null = null;
  if (cursor.acceptKind(91)) {
    address = parseExpression(cursor);
    cursor.expectKind(93);
    if (cursor.acceptKind(45)) {
      cursor.expectKind(91);
      address = { kind: 'range', from: address, to: parseExpression(cursor) };
      cursor.expectKind(93);
    }
  } else if (cursor.kind() !== 58) address = parseExpression(cursor, { fields: true });
  return { address, port: cursor.acceptKind(58) ? parseExpression(cursor, { fields: true }) : null };
}

function parseNat(cursor: Cursor, nat: Nat['nat']): Statement {
  cursor.at++;
  let family: Nat['family'] = null;
  if ((cursor.is('ip') || cursor.is('ip6')) && !fieldBegins(cursor)) family = cursor.take() as 'ip' | 'ip6';
  const flags: string[] = [];
  if (cursor.accept('prefix')) flags.push('netmap');
  if (cursor.accept('interval')) flags.push('interval');
  // `ip addr . port to …`: both come out of one map.
  const joined = cursor.accept('addr');
  if (joined) {
    cursor.expectKind(46);
    cursor.expect('port');
  }
  let target: Target = { address: null, port: null };
  if (
    cursor.accept('to') ||
    (!cursor.atStatementEnd() && !NAT_FLAGS.has(cursor.word()) && (nat === 'snat' || nat === 'dnat'))
  ) {
    if (cursor.accept('prefix')) flags.push('netmap');
    target = parseAddressAndPort(cursor);
  }
  while (cursor.isWord() && NAT_FLAGS.has(cursor.word())) {
    flags.push(cursor.take());
    cursor.acceptKind(44);
  }
  if (nat === 'redirect' && target.address !== null) target = { address: null, port: target.address };
  return { kind: 'nat', nat, family, ...target, flags };
}

function parseMatch(cursor: Cursor): Statement {
  const start = cursor.start();
  if (!fieldBegins(cursor) && cursor.kind() !== 40) {
    throw new NotUnderstood(`${cursor.found()} does not begin a statement known here`);
  }
  const left = parseExpression(cursor, { fields: true });
  if (cursor.accept('set')) {
    if (typeof left === 'string' || left.kind !== 'field') throw new NotUnderstood('only a field can be set');
    return { kind: 'change', field: left.name, value: parseExpression(cursor, { fields: true, list: true }) };
  }
  if (cursor.accept('vmap')) return { kind: 'vmap', key: left, map: parseVerdictMap(cursor) };
  const op = parseComparison(cursor, left);
  const right = cursor.kind() === 123 ? parseSet(cursor) : parseExpression(cursor, { list: true });
  if (cursor.start() === start) throw new NotUnderstood('nothing was read');
  return { kind: 'match', left, op, right };
}

function parseSet(cursor: Cursor): Expression {
  return { kind: 'set', elements: parseElements(cursor) };
}

function parseVerdictMap(cursor: Cursor): Expression {
  return cursor.kind() === 123 ? parseSet(cursor) : parseExpression(cursor);
}

const COMPARISONS: ReadonlyMap<number, Comparison> = new Map([
  [NOT_EQUAL, '!='],
  [33, '!='],
  [EQUAL, '=='],
  [AT_MOST, '<='],
  [AT_LEAST, '>='],
  [60, '<'],
  [62, '>'],
]);

const COMPARISON_WORDS: ReadonlyMap<string, Comparison> = new Map([
  ['eq', '=='],
  ['ne', '!='],
  ['le', '<='],
  ['ge', '>='],
  ['lt', '<'],
  ['gt', '>'],
]);

function parseComparison(cursor: Cursor, left: Expression): Comparison {
  const sign = COMPARISONS.get(cursor.kind());
  if (sign !== undefined) {
    cursor.at++;
    return sign;
  }
  const word = cursor.isWord() ? COMPARISON_WORDS.get(cursor.word()) : undefined;
  if (word !== undefined) cursor.at++;
  const flags = typeof left !== 'string' && left.kind === 'field' && left.name === 'tcp flags';
  return word ?? (flags ? 'in' : '==');
}
