import type { Expression, Verdict } from '../../netfilter/index.ts';
import { NotUnderstood } from '../cursor.ts';

export type Json = Readonly<Record<string, unknown>>;

export const isRecord = (value: unknown): value is Json =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

/** The only key of a record and its value, as libnftables-json(5) writes expressions and statements. */
export function single(value: unknown): [string, unknown] {
  if (!isRecord(value)) throw new NotUnderstood('an object with one key was expected');
  const [entry] = Object.entries(value);
  if (entry === undefined) throw new NotUnderstood('an object with one key was expected');
  return entry;
}

const text = (value: unknown): string => (value === undefined || value === null ? '' : String(value));

const field = (name: string): Expression => ({ kind: 'field', name });

const VERDICTS: ReadonlySet<string> = new Set([
  'accept',
  'drop',
  'continue',
  'return',
  'jump',
  'goto',
  'queue',
]);

/** A verdict statement or map value; null for anything else. */
export function verdictFrom(value: unknown): Verdict | null {
  if (!isRecord(value)) return null;
  const [key, inner] = single(value);
  if (!VERDICTS.has(key) || (key === 'queue' && inner !== null)) return null;
  const chain = isRecord(inner) ? text(inner.target) : null;
  return { kind: 'verdict', verdict: key as Verdict['verdict'], chain };
}

/**
 * An expression of libnftables-json(5).
 * @throws NotUnderstood
 */
export function expressionFrom(value: unknown): Expression {
  if (typeof value === 'number') return String(value);
  if (typeof value === 'string') {
    if (value === '*') return { kind: 'any' };
    return value.startsWith('@') ? { kind: 'name', name: value.slice(1) } : value;
  }
  if (Array.isArray(value)) return { kind: 'list', items: value.map(expressionFrom) };
  const verdict = verdictFrom(value);
  if (verdict !== null) return verdict;
  const [key, inner] = single(value);
  switch (key) {
    case 'prefix':
      if (!isRecord(inner)) break;
      return { kind: 'prefix', address: expressionFrom(inner.addr), length: text(inner.len) };
    case 'range':
      if (!Array.isArray(inner)) break;
      return { kind: 'range', from: expressionFrom(inner[0]), to: expressionFrom(inner[1]) };
    case 'set':
      return { kind: 'set', elements: elementsFrom(inner) };
    case 'concat':
      if (!Array.isArray(inner)) break;
      return { kind: 'concat', parts: inner.map(expressionFrom) };
    case 'elem':
      if (!isRecord(inner)) break;
      return expressionFrom(inner.val);
    case 'map':
      if (!isRecord(inner)) break;
      return { kind: 'lookup', key: expressionFrom(inner.key), map: expressionFrom(inner.data) };
    case '&':
    case '|':
    case '^':
    case '<<':
    case '>>':
      if (!Array.isArray(inner)) break;
      return inner
        .map(expressionFrom)
        .reduce((left, right): Expression => ({ kind: 'bits', op: key, left, right }));
    default:
      return fieldFrom(key, inner);
  }
  throw new NotUnderstood(`"${key}" is not written as expected`);
}

/** Elements of a set, or pairs of a map; a single element may stand without a list. */
export function elementsFrom(value: unknown): Expression[] {
  const list: unknown[] = Array.isArray(value) ? value : [value];
  return list.map((element) =>
    Array.isArray(element) && element.length === 2
      ? { kind: 'pair', key: expressionFrom(element[0]), data: expressionFrom(element[1]) }
      : expressionFrom(element),
  );
}

function fieldFrom(key: string, inner: unknown): Expression {
  if (!isRecord(inner)) throw new NotUnderstood(`"${key}" is not an expression known here`);
  const get = (name: string): string => text(inner[name]);
  switch (key) {
    case 'payload':
      return field(
        inner.base === undefined
          ? `${get('protocol')} ${get('field')}`
          : `@${get('base')},${get('offset')},${get('len')}`,
      );
    case 'meta':
      return field(`meta ${get('key')}`);
    case 'ct': {
      const family = get('family') === '' ? '' : `${get('family')} `;
      return field(get('dir') === '' ? `ct ${get('key')}` : `ct ${get('dir')} ${family}${get('key')}`);
    }
    case 'rt':
      return field(`rt ${get('family') === '' ? '' : `${get('family')} `}${get('key')}`);
    case 'socket':
      return field(`socket ${get('key')}`);
    case 'osf':
      return field(`osf ${get('key')}`);
    case 'fib': {
      const flags = Array.isArray(inner.flags) ? inner.flags.map(text) : [get('flags')];
      return field(`fib ${flags.join(' . ')} ${get('result')}`);
    }
    case 'tcp option':
    case 'ip option':
    case 'sctp chunk':
      return field([key, get('name'), get('field')].filter((part) => part !== '').join(' '));
    case 'exthdr':
      return field(['exthdr', get('name'), get('field')].filter((part) => part !== '').join(' '));
    case 'numgen':
      return field(`numgen ${get('mode')} mod ${get('mod')}${offset(get('offset'))}`);
    case 'symhash':
      return field(`symhash mod ${get('mod')}${offset(get('offset'))}`);
    case 'jhash':
      return field(
        `jhash ${JSON.stringify(inner.expr)} mod ${get('mod')}${get('seed') === '' ? '' : ` seed ${get('seed')}`}${offset(get('offset'))}`,
      );
    case 'ipsec':
      return field(`ipsec ${get('dir')} ${get('key')}`);
    default:
      throw new NotUnderstood(`"${key}" is not an expression known here`);
  }
}

const offset = (value: string): string => (value === '' || value === '0' ? '' : ` offset ${value}`);
