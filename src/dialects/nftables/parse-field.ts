import type { Expression } from '../netfilter/index.ts';
import { type Cursor, NotUnderstood } from './cursor.ts';
import { HEADER_FIELDS, isBareMeta, isField, isHeader } from './fields.ts';

const field = (name: string): Expression => ({ kind: 'field', name });

/** Fields of two plain words, which rules share. */
const PLAIN_FIELDS: ReadonlyMap<string, Map<string, Expression>> = new Map(
  HEADER_FIELDS.map(([header, names]) => [
    header,
    new Map(names.map((name) => [name, field(`${header} ${name}`)])),
  ]),
);

const plainField = (header: string, name: string): Expression =>
  PLAIN_FIELDS.get(header)?.get(name) ?? field(`${header} ${name}`);

/** Does a field (a property of the packet) begin here? */
export function fieldBegins(cursor: Cursor): boolean {
  if (cursor.kind() === 64) return /^(ll|nh|th|ih)$/.test(cursor.word(1)) && cursor.kind(2) === 44;
  if (!cursor.isWord()) return false;
  const word = cursor.word();
  const next = cursor.isWord(1) ? cursor.word(1) : '';
  if (isHeader(word) && isField(word, next)) return true;
  if (isBareMeta(word)) return true;
  switch (word) {
    case 'ct':
      return next === 'original' || next === 'reply';
    case 'tcp':
    case 'ip':
    case 'sctp':
      return next === 'option' || next === 'chunk';
    case 'arp':
      return next === 'saddr' || next === 'daddr';
    case 'rt':
      return next === 'ip' || next === 'ip6';
    case 'fib':
    case 'osf':
    case 'numgen':
    case 'jhash':
    case 'symhash':
    case 'ipsec':
    case 'exthdr':
      return next !== '';
    case 'dst':
    case 'hbh':
    case 'mh':
    case 'srh':
    case 'rt0':
    case 'frag':
      return next === '' ? cursor.kind(1) !== 61 : isField(word, next);
    default:
      return false;
  }
}

/** Reads one field. @throws NotUnderstood when none begins here. */
export function parseField(cursor: Cursor): Expression {
  if (cursor.acceptKind(64)) {
    const base = cursor.take();
    cursor.expectKind(44);
    const offset = cursor.take();
    cursor.expectKind(44);
    return field(`@${base},${offset},${cursor.take()}`);
  }
  const word = cursor.take();
  if (cursor.isWord() && isHeader(word) && isField(word, cursor.word())) {
    const name = cursor.take();
    return plainField(word, word === 'meta' && name === 'secpath' ? 'ipsec' : name);
  }
  if (isBareMeta(word)) return plainField('meta', word);
  switch (word) {
    case 'ct': {
      const direction = cursor.take();
      const layer = cursor.is('ip') || cursor.is('ip6') ? `${cursor.take()} ` : '';
      return field(`ct ${direction} ${layer}${cursor.take()}`);
    }
    case 'arp':
      return field(`arp ${cursor.take()} ${cursor.take()}`);
    case 'tcp':
    case 'ip':
    case 'sctp': {
      const what = cursor.take();
      const option = cursor.take();
      const part = partOfOption(cursor);
      return field(`${word} ${what} ${option}${part === '' ? '' : ` ${part}`}`);
    }
    case 'rt':
      return field(`rt ${cursor.take()} ${cursor.take()}`);
    case 'exthdr':
      return field(`exthdr ${cursor.take()}`);
    case 'fib': {
      const tuple = [cursor.take()];
      while (cursor.acceptKind(46)) tuple.push(cursor.take());
      return field(`fib ${tuple.join(' . ')} ${cursor.take()}`);
    }
    case 'osf': {
      const ttl = cursor.accept('ttl') ? `ttl ${cursor.take()} ` : '';
      return field(`osf ${ttl}${cursor.take()}`);
    }
    case 'numgen': {
      const kind = cursor.take();
      cursor.expect('mod');
      return field(`numgen ${kind} mod ${cursor.take()}${offset(cursor)}`);
    }
    case 'symhash':
      cursor.expect('mod');
      return field(`symhash mod ${cursor.take()}${offset(cursor)}`);
    case 'jhash': {
      const start = cursor.start();
      do parseField(cursor);
      while (cursor.acceptKind(46));
      const over = cursor.textFrom(start);
      cursor.expect('mod');
      const modulus = cursor.take();
      const seed = cursor.accept('seed') ? ` seed ${cursor.take()}` : '';
      return field(`jhash ${over} mod ${modulus}${seed}${offset(cursor)}`);
    }
    case 'ipsec': {
      const direction = cursor.take();
      const number = cursor.accept('spnum') ? ` spnum ${cursor.take()}` : '';
      const layer = cursor.is('ip') || cursor.is('ip6') ? `${cursor.take()} ` : '';
      return field(`ipsec ${direction}${number} ${layer}${cursor.take()}`);
    }
    case 'dst':
    case 'hbh':
    case 'mh':
    case 'srh':
    case 'rt0':
    case 'frag':
      return field(`exthdr ${word}`);
    default:
      throw new NotUnderstood(`"${word}" is not a field known here`);
  }
}

function partOfOption(cursor: Cursor): string {
  const parts =
    'kind subtype length size left right tsval tsecr count tsn stream flags type ptr value addr ssn ppid init-tag a-rwnd num-outbound-streams num-inbound-streams init-tsn cum-tsn-ack num-gap-ack-blocks num-dup-tsns seqno new-cum-tsn lowest-tsn';
  return cursor.isWord() && parts.split(' ').includes(cursor.word()) ? cursor.take() : '';
}

function offset(cursor: Cursor): string {
  return cursor.accept('offset') ? ` offset ${cursor.take()}` : '';
}
