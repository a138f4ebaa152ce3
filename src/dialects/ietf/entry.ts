import {
  type AddressSet,
  exceptNumbers,
  type Family,
  familyOf,
  intersectNumbers,
  type NumberSet,
  numberSet,
  parseAddresses,
} from '#core/address';
import { type Condition, icmpProtocol, type Match, type Origin, type Verdict } from '#core/traffic';
import { shorten } from '#dialects/source';
import { child, type DataNode, leaf, placeOf, withoutPrefix } from './data.ts';

/** An access control entry (RFC 8519), read for its effect on traffic. */
export interface Entry {
  /** What it matches, for each family of its list; null for a family that it cannot match. */
  readonly matches: readonly (Match | null)[];
  /** Null when the entry does not say (it must: `forwarding` is mandatory). */
  readonly verdict: Verdict | null;
  readonly origin: Origin;
  /** What was not understood. The match holds a named condition for each part of it. */
  readonly problems: readonly { readonly node: DataNode; readonly why: string }[];
}

type Problem = Entry['problems'][number];

const VERDICTS: ReadonlySet<string> = new Set(['accept', 'drop', 'reject']);
const ALL_PORTS: NumberSet = [0, 65535];

/** Reads one entry of a list that judges packets of `families`. */
export function readEntry(ace: DataNode, families: readonly Family[]): Entry {
  const problems: Problem[] = [];
  const { file, line } = placeOf(ace);
  const name = leaf(ace, 'name');
  const limits = child(ace, 'matches');
  const matches = families.map((family) => {
    const found: Problem[] = [];
    const match = matchOf(limits, family, found, name ?? `in line ${line}`);
    for (const problem of found)
      if (!problems.some(({ node }) => node === problem.node)) problems.push(problem);
    return match;
  });
  const actions = child(ace, 'actions');
  const forwarding = leaf(actions, 'forwarding');
  const word = forwarding === null ? '' : withoutPrefix(forwarding);
  if (!VERDICTS.has(word))
    problems.push({
      node: actions ?? ace,
      why: forwarding === null ? 'The entry says no forwarding action.' : `The action ${word} is not known.`,
    });
  for (const part of actions?.children ?? []) {
    if (part.name !== 'forwarding' && part.name !== 'logging')
      problems.push({ node: part, why: `The action ${part.name} is not read.` });
  }
  const text = `${name === null ? '' : `${name}: `}${shorten(flatText(ace), 160)}`;
  return {
    matches,
    verdict: VERDICTS.has(word) ? (word as Verdict) : null,
    origin: { file, line, text },
    problems,
  };
}

/** The entry in one line: `ipv4 protocol 6, … forwarding drop`. */
function flatText(ace: DataNode): string {
  const parts: string[] = [];
  for (const { name, children } of ace.children)
    if (name === 'matches' || name === 'actions') for (const part of children) parts.push(wordsOf(part));
  return parts.join(', ');
}

function wordsOf({ name, text, children }: DataNode): string {
  if (children.length > 0) return `${name} (${children.map(wordsOf).join(', ')})`;
  return text === null ? name : `${name} ${text}`;
}

/** A match under construction; null parts of it make the whole match impossible. */
interface Parts {
  source?: AddressSet;
  destination?: AddressSet;
  protocol?: NumberSet;
  sourcePort?: NumberSet;
  destinationPort?: NumberSet;
  icmp?: NumberSet;
  inInterface?: { names: string[] };
  outInterface?: { names: string[] };
  conditions?: Condition[];
}

function matchOf(
  matches: DataNode | undefined,
  family: Family,
  problems: Problem[],
  entry: string,
): Match | null {
  const parts: Parts = {};
  for (const part of matches?.children ?? []) {
    switch (part.name) {
      case 'ipv4':
      case 'ipv6':
        if ((part.name === 'ipv4' ? 4 : 6) !== family) return null;
        for (const field of part.children) readIpField(field, family, parts, problems);
        break;
      case 'tcp':
      case 'udp':
        narrowProtocol(parts, part.name === 'tcp' ? [6, 6] : [17, 17]);
        for (const field of part.children) readPortField(field, parts, problems);
        break;
      case 'icmp':
        narrowProtocol(parts, [icmpProtocol(family), icmpProtocol(family)]);
        readIcmp(part, parts, problems);
        break;
      case 'ingress-interface':
        parts.inInterface = { names: [part.text ?? ''] };
        break;
      case 'egress-interface':
        parts.outInterface = { names: [part.text ?? ''] };
        break;
      case 'eth':
        for (const field of part.children) unknown(field, parts);
        break;
      default:
        // Nobody knows whether this counts or remembers, so it is a condition of this entry alone.
        unknown(part, parts, ` (entry ${entry})`);
        problems.push({ node: part, why: `The match ${part.name} of ${part.module} is not read.` });
    }
  }
  return parts;
}

/** Header fields outside the packet space depend on the packet alone, so their text names the condition. */
function unknown(field: DataNode, parts: Parts, own = ''): void {
  const words = (node: DataNode): string =>
    node.children.length === 0
      ? `${node.name} ${node.text ?? ''}`.trim()
      : `${node.name} ${node.children.map(words).sort().join(' ')}`;
  parts.conditions ??= [];
  parts.conditions.push({ name: `${words(field)}${own}`, holds: true });
}

function narrowProtocol(parts: Parts, set: NumberSet): void {
  parts.protocol = parts.protocol === undefined ? set : intersectNumbers(parts.protocol, set);
}

const NETWORKS: ReadonlyMap<string, 'source' | 'destination'> = new Map([
  ['source-ipv4-network', 'source'],
  ['source-ipv6-network', 'source'],
  ['destination-ipv4-network', 'destination'],
  ['destination-ipv6-network', 'destination'],
]);

function readIpField(field: DataNode, family: Family, parts: Parts, problems: Problem[]): void {
  const side = NETWORKS.get(field.name);
  if (side !== undefined) {
    const set = field.text?.includes('-') ? undefined : parseAddresses(field.text ?? '');
    if (set !== undefined && familyOf(set.ranges[0]!.low) === family) {
      parts[side] = set;
      return;
    }
    problems.push({ node: field, why: `This is not an IPv${family} prefix.` });
    unknown(field, parts);
  } else if (field.name === 'protocol') {
    const number = numberOf(field, 255, problems);
    if (number === null) unknown(field, parts);
    else narrowProtocol(parts, [number, number]);
  } else unknown(field, parts);
}

function numberOf(field: DataNode | undefined, top: number, problems: Problem[]): number | null {
  if (field === undefined) return null;
  if (/^\d{1,5}$/.test(field.text ?? '') && Number(field.text) <= top) return Number(field.text);
  problems.push({ node: field, why: `This is not a number from 0 to ${top}.` });
  return null;
}

function readPortField(field: DataNode, parts: Parts, problems: Problem[]): void {
  if (field.name !== 'source-port' && field.name !== 'destination-port') {
    unknown(field, parts);
    return;
  }
  const set = portsOf(field, problems);
  if (set === null) unknown(field, parts);
  else parts[field.name === 'source-port' ? 'sourcePort' : 'destinationPort'] = set;
}

const PORT_LEAVES: readonly string[] = ['lower-port', 'upper-port', 'port', 'operator'];

/** Range or operator (RFC 8519, grouping port-range-or-operator; the operator is `eq` unless said). */
function portsOf(field: DataNode, problems: Problem[]): NumberSet | null {
  const low = numberOf(child(field, 'lower-port'), 65535, problems);
  const high = numberOf(child(field, 'upper-port'), 65535, problems);
  const one = numberOf(child(field, 'port'), 65535, problems);
  const known = field.children.every(({ name }) => PORT_LEAVES.includes(name));
  if (known && low !== null && high !== null && low <= high) return numberSet([[low, high]]);
  if (known && one !== null) {
    switch (leaf(field, 'operator') ?? 'eq') {
      case 'eq':
        return [one, one];
      case 'neq':
        return exceptNumbers([one, one], 65535);
      case 'lte':
        return [0, one];
      case 'gte':
        return [one, ALL_PORTS[1]!];
    }
  }
  problems.push({ node: field, why: 'The ports are neither a range nor one port with a known operator.' });
  return null;
}

function readIcmp(part: DataNode, parts: Parts, problems: Problem[]): void {
  const type = numberOf(child(part, 'type'), 255, problems);
  const code = numberOf(child(part, 'code'), 255, problems);
  for (const field of part.children) {
    const bad = (field.name === 'type' && type === null) || (field.name === 'code' && code === null);
    if (bad || (field.name !== 'type' && field.name !== 'code')) unknown(field, parts);
  }
  const types = type === null ? Array.from({ length: 256 }, (_, i) => i) : [type];
  if (type !== null || code !== null) {
    parts.icmp = numberSet(
      types.map((t) => (code === null ? [t * 256, t * 256 + 255] : [t * 256 + code, t * 256 + code])),
    );
  }
}
