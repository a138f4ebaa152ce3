import type { Expression, Statement } from './syntax.ts';

/** Fields of `meta` that are written without that word. */
const BARE = /^meta (?=(iif|oif|mark|skuid|skgid|cpu|cgroup|pkttype))/;

/** An expression in one canonical spelling; two that mean the same element by element read the same. */
export function formatExpression(value: Expression): string {
  if (typeof value === 'string') return value;
  switch (value.kind) {
    case 'range':
      return `${formatExpression(value.from)}-${formatExpression(value.to)}`;
    case 'prefix':
      return `${formatExpression(value.address)}/${formatExpression(value.length)}`;
    case 'list':
      return sorted(value.items.map(formatExpression)).join(',');
    case 'set':
      return `{ ${sorted(value.elements.map(formatExpression)).join(', ')} }`;
    case 'pair':
      return `${formatExpression(value.key)} : ${formatExpression(value.data)}`;
    case 'name':
      return `@${value.name}`;
    case 'concat':
      return value.parts.map(formatExpression).join(' . ');
    case 'bits':
      return `${formatExpression(value.left)} ${value.op} ${operand(value.right)}`;
    case 'field':
      return value.name.startsWith('meta ') ? value.name.replace(BARE, '') : value.name;
    case 'lookup':
      return `${formatExpression(value.key)} map ${formatExpression(value.map)}`;
    case 'verdict':
      return value.chain === null ? value.verdict : `${value.verdict} ${value.chain}`;
    case 'any':
      return '*';
  }
}

/** Puts texts in order. Most sets in rules are short, and a general sort costs more than it sorts. */
function sorted(texts: string[]): string[] {
  if (texts.length > 8) return texts.sort();
  for (let i = 1; i < texts.length; i++) {
    const text = texts[i]!;
    let at = i;
    for (; at > 0 && texts[at - 1]! > text; at--) texts[at] = texts[at - 1]!;
    texts[at] = text;
  }
  return texts;
}

const operand = (value: Expression): string =>
  typeof value !== 'string' && (value.kind === 'list' || value.kind === 'bits')
    ? `(${formatExpression(value)})`
    : formatExpression(value);

/** A statement in one canonical spelling. */
export function formatStatement(statement: Statement): string {
  switch (statement.kind) {
    case 'match':
      return `${formatExpression(statement.left)} ${sign(statement)}${formatExpression(statement.right)}`;
    case 'either':
      return statement.of.map(formatStatement).join(' or ');
    case 'vmap':
      return `${formatExpression(statement.key)} vmap ${formatExpression(statement.map)}`;
    case 'verdict':
      return formatExpression(statement);
    case 'reject':
      return statement.with === '' ? 'reject' : `reject with ${statement.with}`;
    case 'nat': {
      const family = statement.family === null ? '' : ` ${statement.family}`;
      const address = statement.address === null ? '' : ` to ${formatExpression(statement.address)}`;
      const port =
        statement.port === null ? '' : `${address === '' ? ' to ' : ''}:${formatExpression(statement.port)}`;
      const flags = statement.flags.length === 0 ? '' : ` ${[...statement.flags].sort().join(',')}`;
      return `${statement.nat}${family}${address}${port}${flags}`;
    }
    case 'notrack':
      return 'notrack';
    case 'change':
      return `${statement.field} set ${formatExpression(statement.value)}`;
    case 'inert':
    case 'update':
    case 'condition':
    case 'elsewhere':
    case 'opaque':
      return statement.text;
  }
}

/** Equality needs no sign, except on flags, where no sign means "one of". */
function sign({ left, op }: Extract<Statement, { kind: 'match' }>): string {
  const onFlags =
    typeof left !== 'string' &&
    (left.kind === 'bits' || (left.kind === 'field' && left.name === 'tcp flags'));
  return op === 'in' || (op === '==' && !onFlags) ? '' : `${op} `;
}
