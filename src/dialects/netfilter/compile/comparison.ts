import { formatAddress, parseAddress, rangeOfPrefix } from '#core/address';
import type { Condition, Match } from '#core/traffic';
import { formatExpression, formatStatement } from '../format.ts';
import type { Expression, NamedSet, Statement } from '../syntax.ts';
import type { Context } from './context.ts';
import { HEADER_PROTOCOLS, hasHeader, headerOf, limitOf } from './limits.ts';
import { bothMatches } from './merge.ts';
import { maskLength, numbersFrom, openedUp, singles } from './values.ts';

/** What a packet must meet: one of the boxes, or (negated) none of them. No boxes: nothing meets it. */
export interface Test {
  readonly boxes: readonly Match[];
  readonly negated: boolean;
}

const NO_LIMIT: Match = {};

export const NEVER: Test = { boxes: [], negated: false };

/** The tests of a comparison; all must be met. */
export function testsOf(context: Context, statement: Extract<Statement, { kind: 'match' }>): readonly Test[] {
  const op = statement.op === 'in' ? '==' : statement.op;
  let { left, right } = statement;
  if (typeof left !== 'string' && left.kind === 'bits' && (op === '==' || op === '!=')) {
    const masked = maskedAddress(context, left, right);
    if (masked !== null) [left, right] = masked;
  }
  const negated = op === '!=';
  if (typeof left !== 'string' && left.kind === 'concat') {
    const fields = fieldNames(left.parts);
    const elements = fields === null ? null : elementsOf(context, right);
    const boxes = elements === null ? null : concatenated(context, fields!, elements);
    if (boxes === null) return only(conditionMatch(context, left, statement, negated));
    // "None of these pairs" still needs a packet that has the fields.
    return negated ? [...only(impliedBy(context, fields!)), { boxes, negated }] : [{ boxes, negated }];
  }
  if (typeof left === 'string' || left.kind !== 'field') {
    return only(conditionMatch(context, left, statement, negated));
  }
  return only(fieldLimit(context, left, right, op) ?? conditionMatch(context, left, statement, negated));
}

/**
 * What a comparison of one field with values written here leaves of packets; null when that is no limit of the packet
 * space, or when the values are those of a named set.
 */
export function plainLimit(
  context: Context,
  { left, op, right }: Extract<Statement, { kind: 'match' }>,
): Match | 'never' | null {
  if (typeof left === 'string' || left.kind !== 'field') return null;
  if (typeof right !== 'string' && right.kind === 'name') return null;
  return fieldLimit(context, left, right, op === 'in' ? '==' : op);
}

function fieldLimit(
  context: Context,
  { name }: Extract<Expression, { kind: 'field' }>,
  right: Expression,
  op: string,
): Match | 'never' | null {
  const values = op === '==' || op === '!=' ? valuesOf(context, right) : ordered(name, op, right);
  return values === null ? null : limitOf(context, name, values, op === '!=');
}

const only = (match: Match | 'never'): Test[] => [
  match === 'never' ? NEVER : { boxes: [match], negated: false },
];

/** The values a comparison's right side stands for; null when a named set's content is not certain. */
function valuesOf(context: Context, right: Expression): readonly Expression[] | null {
  const elements = elementsOf(context, right);
  return elements === null ? null : openedUp(elements);
}

/** The elements of a set written here or named; null when unknown or changing while packets pass. */
export function elementsOf(context: Context, value: Expression): readonly Expression[] | null {
  if (typeof value === 'string') return [value];
  if (value.kind === 'set') return value.elements;
  if (value.kind === 'list') return value.items;
  if (value.kind !== 'name') return [value];
  const set = context.table.sets.get(value.name);
  return set === undefined || isChanging(set) ? null : set.elements;
}

/** May the content of this set change while packets pass? */
function isChanging(set: NamedSet): boolean {
  return set.flags.includes('dynamic') || set.flags.includes('timeout');
}

/** The field names of a concatenation; null when a part is not a plain field. */
export function fieldNames(parts: readonly Expression[]): string[] | null {
  const names: string[] = [];
  for (const part of parts) {
    if (typeof part === 'string' || part.kind !== 'field') return null;
    names.push(part.name);
  }
  return names;
}

/** `ip saddr & 255.255.255.0 == 10.0.0.0` as a prefix; null for other masks and addresses. */
function maskedAddress(
  context: Context,
  left: Extract<Expression, { kind: 'bits' }>,
  right: Expression,
): [Expression, Expression] | null {
  if (left.op !== '&' || typeof left.left === 'string' || left.left.kind !== 'field') return null;
  if (!/^ip6? [sd]addr$/.test(left.left.name) || typeof left.right !== 'string') return null;
  const length = maskLength(context.family, left.right);
  const address = typeof right === 'string' ? parseAddress(right) : undefined;
  if (length === null || address === undefined) return null;
  // No masked address has a bit outside its mask.
  const { low } = rangeOfPrefix(address, length);
  if (low.some((word, n) => word !== address[n])) return null;
  return [left.left, { kind: 'prefix', address: formatAddress(address), length: String(length) }];
}

/** `< 1024` and the like as a range; null when the field has no numbers here. */
function ordered(field: string, op: string, right: Expression): Expression[] | null {
  const top = /(sport|dport)$/.test(field) ? 65_535 : 255;
  if (!/(sport|dport|protocol|nexthdr|l4proto|type|code)$/.test(field)) return null;
  const set = numbersFrom(field, singles(right), top);
  if (set === null || set.length !== 2 || set[0] !== set[1]) return null;
  const value = set[0]!;
  const [low, high] =
    op === '<' ? [0, value - 1] : op === '<=' ? [0, value] : op === '>' ? [value + 1, top] : [value, top];
  return low > high ? [] : [{ kind: 'range', from: String(low), to: String(high) }];
}

/**
 * One box per element of a concatenation, elements that differ in one part only joined into one box. Null when a
 * part is not understood.
 */
export function concatenated(
  context: Context,
  fields: readonly string[],
  elements: readonly Expression[],
): Match[] | null {
  const rows: (readonly Expression[])[] = [];
  for (const element of elements) {
    const key = typeof element !== 'string' && element.kind === 'pair' ? element.key : element;
    if (typeof key !== 'string' && key.kind === 'any') return [{}];
    if (typeof key === 'string' || key.kind !== 'concat' || key.parts.length !== fields.length) return null;
    rows.push(key.parts);
  }
  let pivot = 0;
  let most = 0;
  for (let i = 0; i < fields.length; i++) {
    const distinct = new Set(rows.map((row) => formatExpression(row[i]!))).size;
    if (distinct > most) [pivot, most] = [i, distinct];
  }
  const groups = new Map<string, { row: readonly Expression[]; values: Expression[] }>();
  for (const row of rows) {
    let key = '';
    for (const [i, part] of row.entries()) if (i !== pivot) key += `${formatExpression(part)} . `;
    const group = groups.get(key);
    if (group === undefined) groups.set(key, { row, values: [row[pivot]!] });
    else group.values.push(row[pivot]!);
  }
  const boxes: Match[] = [];
  for (const { row, values } of groups.values()) {
    let box: Match | 'never' | null = NO_LIMIT;
    for (const [i, field] of fields.entries()) {
      const wanted = i === pivot ? values : [row[i]!];
      const limit =
        limitOf(context, field, wanted, false) ??
        conditionMatch(context, { kind: 'field', name: field }, null, false, wanted);
      box = limit === 'never' ? 'never' : bothMatches(box, limit);
      if (box === null) return null;
      if (box === 'never') break;
    }
    if (box !== 'never') boxes.push(box);
  }
  return boxes;
}

/** What the packet space cannot express, as a named condition, with the family and protocol that it implies. */
export function conditionMatch(
  context: Context,
  left: Expression,
  statement: Extract<Statement, { kind: 'match' }> | null,
  negated: boolean,
  values: readonly Expression[] = [],
): Match | 'never' {
  const text =
    statement === null
      ? `${formatExpression(left)} ${values.map(formatExpression).sort().join(',')}`
      : formatStatement(negated ? { ...statement, op: '==' } : statement);
  const random = /^(numgen|meta random)/.test(text) && statement !== null;
  const condition: Condition = {
    name: random ? context.notes.own(statement, text) : text,
    holds: !negated,
  };
  const fields = fieldsIn(left);
  for (const field of fields) context.notes.ask(field);
  const implied = impliedBy(context, fields);
  return implied === 'never' ? 'never' : { ...implied, conditions: [condition] };
}

/** The family and protocol a packet must have to have these fields at all. */
function impliedBy(context: Context, fields: readonly string[]): Match | 'never' {
  let match: Match = {};
  for (const field of fields) {
    const header = headerOf(field);
    if (!hasHeader(context.family, header)) return 'never';
    const protocol = HEADER_PROTOCOLS[header];
    if (protocol === undefined) continue;
    const both = bothMatches(match, { protocol: [protocol, protocol] });
    if (both === null || both === 'never') return 'never';
    match = both;
  }
  return match;
}

/** Names of all fields in an expression. */
function fieldsIn(value: Expression): string[] {
  if (typeof value === 'string') return [];
  switch (value.kind) {
    case 'field':
      return [value.name];
    case 'bits':
      return [...fieldsIn(value.left), ...fieldsIn(value.right)];
    case 'concat':
      return value.parts.flatMap(fieldsIn);
    case 'lookup':
      return fieldsIn(value.key);
    default:
      return [];
  }
}
