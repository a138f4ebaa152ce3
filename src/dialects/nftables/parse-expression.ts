import type { Expression, Verdict } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { fieldBegins, parseField } from './parse-field.ts';
import { LEFT_SHIFT, RIGHT_SHIFT } from './tokens.ts';

export interface ExpressionOptions {
  /** Fields may stand here (left of a comparison, in `set` and NAT), not only constants. */
  readonly fields?: boolean;
  /** `a, b` is one list; not so inside set braces, where the comma divides elements. */
  readonly list?: boolean;
}

const CONSTANT: ExpressionOptions = {};

const plain = (verdict: Verdict['verdict']): Verdict => ({ kind: 'verdict', verdict, chain: null });

/** Verdicts that name no chain; rules share them. */
const PLAIN = {
  accept: plain('accept'),
  drop: plain('drop'),
  continue: plain('continue'),
  return: plain('return'),
  queue: plain('queue'),
};

const VERDICTS: ReadonlySet<string> = new Set([...Object.keys(PLAIN), 'jump', 'goto']);

const BIT_WORDS: ReadonlyMap<string, string> = new Map([
  ['and', '&'],
  ['or', '|'],
  ['xor', '^'],
  ['lshift', '<<'],
  ['rshift', '>>'],
]);

/** Reads an expression: lists of concatenations of ranges, prefixes and bit operations. */
export function parseExpression(cursor: Cursor, options: ExpressionOptions = CONSTANT): Expression {
  cursor.enter();
  let whole = parseConcatenation(cursor, options);
  if (options.list === true && cursor.kind() === 44) {
    const items = [whole];
    while (cursor.acceptKind(44)) {
      cursor.skipNewlines();
      items.push(parseConcatenation(cursor, options));
    }
    whole = { kind: 'list', items };
  }
  cursor.leave();
  return whole;
}

function parseConcatenation(cursor: Cursor, options: ExpressionOptions): Expression {
  const first = parseRanged(cursor, options);
  let whole = first;
  if (cursor.kind() === 46) {
    const parts = [first];
    while (cursor.acceptKind(46)) parts.push(parseRanged(cursor, options));
    whole = { kind: 'concat', parts };
  }
  if (options.fields === true && cursor.accept('map')) return lookup(cursor, whole);
  return whole;
}

function parseRanged(cursor: Cursor, options: ExpressionOptions): Expression {
  const left = parseBits(cursor, options);
  if (cursor.kind() === 47) {
    cursor.at++;
    return { kind: 'prefix', address: left, length: parsePrimary(cursor, CONSTANT) };
  }
  if (cursor.kind() === 45) {
    cursor.at++;
    return { kind: 'range', from: left, to: parseBits(cursor, CONSTANT) };
  }
  return left;
}

const lookup = (cursor: Cursor, key: Expression): Expression => ({
  kind: 'lookup',
  key,
  map: parsePrimary(cursor, CONSTANT),
});

const MOST_OPERATORS = 64;

function bitOperator(cursor: Cursor): string | undefined {
  switch (cursor.kind()) {
    case 38:
      return '&';
    case 124:
      return '|';
    case 94:
      return '^';
    case LEFT_SHIFT:
      return '<<';
    case RIGHT_SHIFT:
      return '>>';
    default:
      return cursor.isWord() ? BIT_WORDS.get(cursor.word()) : undefined;
  }
}

function parseBits(cursor: Cursor, options: ExpressionOptions): Expression {
  let left = parsePrimary(cursor, options);
  let count = 0;
  for (let op = bitOperator(cursor); op !== undefined; op = bitOperator(cursor)) {
    if (++count > MOST_OPERATORS) throw new NotUnderstood('there are too many operators in one expression');
    cursor.at++;
    left = { kind: 'bits', op, left, right: parsePrimary(cursor, options) };
  }
  return left;
}

function parsePrimary(cursor: Cursor, options: ExpressionOptions): Expression {
  const start = cursor.start();
  switch (cursor.kind()) {
    case 36: {
      cursor.at++;
      const name = cursor.take();
      cursor.mention('define', name, start);
      const value = cursor.scope.get(name);
      if (value === undefined) throw new NotUnderstood(`the variable $${name} is not defined`);
      return value;
    }
    case 64: {
      if (options.fields === true && fieldBegins(cursor)) return parseField(cursor);
      cursor.at++;
      const name = cursor.take();
      cursor.mention('set', name, start);
      return { kind: 'name', name };
    }
    case 123:
      return { kind: 'set', elements: parseElements(cursor) };
    case 40: {
      cursor.at++;
      const inner = parseExpression(cursor, { ...options, list: true });
      cursor.expectKind(41);
      return inner;
    }
    case 42:
      cursor.at++;
      return { kind: 'any' };
    case 45:
      cursor.at++;
      return `-${cursor.take()}`;
    default:
      if (options.fields === true && fieldBegins(cursor)) return parseField(cursor);
      return cursor.take();
  }
}

/** Reads `jump NAME`, `accept` and the like; null when no verdict begins here. */
export function parseVerdict(cursor: Cursor): Verdict | null {
  if (!cursor.isWord() || !VERDICTS.has(cursor.word())) return null;
  const start = cursor.start();
  const verdict = cursor.take() as Verdict['verdict'];
  if (verdict !== 'jump' && verdict !== 'goto') return PLAIN[verdict];
  let chain: string;
  if (cursor.acceptKind(36)) {
    const name = cursor.take();
    const value = cursor.scope.get(name);
    if (typeof value !== 'string') throw new NotUnderstood(`the variable $${name} does not name a chain`);
    chain = value;
  } else chain = cursor.take();
  cursor.mention('chain', chain, start);
  return { kind: 'verdict', verdict, chain };
}

/** Reads `{ a, b : c, … }`; nested sets from variables are flattened, as the language does. */
export function parseElements(cursor: Cursor): Expression[] {
  const elements: Expression[] = [];
  cursor.expectKind(123);
  cursor.enter();
  cursor.skipNewlines();
  while (!cursor.acceptKind(125)) {
    addElement(cursor, elements);
    cursor.skipNewlines();
    if (!cursor.acceptKind(44)) {
      cursor.expectKind(125);
      break;
    }
    cursor.skipNewlines();
  }
  cursor.leave();
  return elements.slice();
}

function addElement(cursor: Cursor, elements: Expression[]): void {
  const key = parseExpression(cursor);
  parseElementNotes(cursor);
  if (cursor.acceptKind(58)) {
    cursor.skipNewlines();
    const data = parseVerdict(cursor) ?? parseExpression(cursor);
    parseElementNotes(cursor);
    elements.push({ kind: 'pair', key, data });
  } else if (typeof key !== 'string' && key.kind === 'set')
    for (const inner of key.elements) elements.push(inner);
  else if (typeof key !== 'string' && key.kind === 'list')
    for (const inner of key.items) elements.push(inner);
  else elements.push(key);
}

/** What may stand after a key: how long it stays, counters, limits, comments. None of it is part of the key. */
function parseElementNotes(cursor: Cursor): void {
  while (cursor.kind() === 2) {
    const word = cursor.word();
    if (word === 'timeout' || word === 'expires' || word === 'comment') cursor.at += 2;
    else if (word === 'counter' || word === 'last') {
      cursor.at++;
      while (/^(packets|bytes|used)$/.test(cursor.word())) cursor.at += 2;
      cursor.accept('never');
    } else if (word === 'limit' || word === 'quota' || word === 'ct') {
      while (!cursor.atStatementEnd() && cursor.kind() !== 44 && cursor.kind() !== 58) cursor.at++;
    } else if (word === 'prefixlen') cursor.at += 2;
    else return;
  }
}
