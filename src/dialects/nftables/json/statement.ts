import type { Comparison, Mention, Nat, Statement } from '../../netfilter/index.ts';
import { formatExpression } from '../../netfilter/index.ts';
import { shorten } from '../../source/index.ts';
import { NotUnderstood } from '../cursor.ts';
import { expressionFrom, isRecord, type Json, single, verdictFrom } from './expression.ts';

const COMPARISONS: ReadonlySet<string> = new Set(['==', '!=', '<', '>', '<=', '>=', 'in']);

const brief = (value: unknown): string => shorten(JSON.stringify(value) ?? '');

/**
 * A statement of libnftables-json(5).
 * @throws NotUnderstood
 */
export function statementFrom(value: unknown): Statement {
  const verdict = verdictFrom(value);
  if (verdict !== null) return verdict;
  const [key, inner] = single(value);
  const record: Json = isRecord(inner) ? inner : {};
  switch (key) {
    case 'match': {
      const op = String(record.op);
      if (!COMPARISONS.has(op)) throw new NotUnderstood(`the comparison "${op}" is not known`);
      return {
        kind: 'match',
        left: expressionFrom(record.left),
        op: op as Comparison,
        right: expressionFrom(record.right),
      };
    }
    case 'vmap':
      return { kind: 'vmap', key: expressionFrom(record.key), map: expressionFrom(record.data) };
    case 'reject':
      return { kind: 'reject', with: rejectKind(record) };
    case 'snat':
    case 'dnat':
    case 'masquerade':
    case 'redirect':
      return natFrom(key, record);
    case 'notrack':
      return { kind: 'notrack' };
    case 'mangle': {
      const target = expressionFrom(record.key);
      if (typeof target === 'string' || target.kind !== 'field')
        throw new NotUnderstood('only a field can be set');
      return { kind: 'change', field: target.name, value: expressionFrom(record.value) };
    }
    case 'counter':
    case 'last':
      return { kind: 'inert', text: key };
    case 'log':
    case 'ct helper':
    case 'ct timeout':
    case 'ct expectation':
    case 'dup':
    case 'reset':
      return { kind: 'inert', text: inner === null ? key : `${key} ${brief(inner)}` };
    case 'limit':
      return {
        kind: 'condition',
        text: typeof inner === 'string' ? `limit name "${inner}"` : limitText(record),
      };
    case 'quota':
    case 'ct count':
    case 'meter':
      return { kind: 'condition', text: `${key} ${brief(inner)}` };
    case 'set':
    case 'map': {
      const set = String(record.set).replace(/^@/, '');
      const text = `${String(record.op)} @${set} { ${brief(record.elem)} }`;
      const counts = /"(limit|quota|ct count)"/.test(JSON.stringify(record.stmt ?? null));
      return counts ? { kind: 'condition', text } : { kind: 'update', set, text };
    }
    case 'queue':
    case 'fwd':
    case 'tproxy':
    case 'synproxy':
    case 'flow':
      return { kind: 'elsewhere', text: inner === null ? key : `${key} ${brief(inner)}` };
    default:
      throw new NotUnderstood(`"${key}" is not a statement known here`);
  }
}

function limitText(record: Json): string {
  const over = record.inv === true ? 'over ' : '';
  const unit = record.rate_unit === undefined || record.rate_unit === 'packets' ? '' : ` ${record.rate_unit}`;
  const burst =
    record.burst === undefined || record.burst === 0
      ? ''
      : ` burst ${record.burst} ${record.burst_unit ?? 'packets'}`;
  return `limit rate ${over}${record.rate}${unit}/${record.per}${burst}`;
}

function rejectKind(record: Json): string {
  const type = record.type;
  if (type === undefined) return '';
  if (type === 'tcp reset') return 'tcp reset';
  return `${String(type)} ${record.expr === undefined ? '' : formatExpression(expressionFrom(record.expr))}`;
}

function natFrom(nat: Nat['nat'], record: Json): Nat {
  const { family } = record;
  const flags = [record.flags, record.type_flags].flat().filter((flag) => typeof flag === 'string');
  return {
    kind: 'nat',
    nat,
    family: family === 'ip' || family === 'ip6' ? family : null,
    address: record.addr === undefined ? null : expressionFrom(record.addr),
    port: record.port === undefined ? null : expressionFrom(record.port),
    flags: flags.map((flag) => (flag === 'prefix' ? 'netmap' : flag)),
  };
}

/** Sets and chains that a statement names, found in its raw form. */
export function mentionsIn(value: unknown, start: number, end: number): Mention[] {
  const found: Mention[] = [];
  const look = (inner: unknown): void => {
    if (typeof inner === 'string' && inner.startsWith('@'))
      found.push({ kind: 'set', name: inner.slice(1), start, end });
    else if (Array.isArray(inner)) inner.forEach(look);
    else if (isRecord(inner)) {
      for (const [key, content] of Object.entries(inner)) {
        const target = isRecord(content) ? content.target : undefined;
        if ((key === 'jump' || key === 'goto') && typeof target === 'string') {
          found.push({ kind: 'chain', name: target, start, end });
        } else look(content);
      }
    }
  };
  look(value);
  return found;
}
