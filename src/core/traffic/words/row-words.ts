import { formatAddress, formatAddresses, type NumberSet, pairsOf } from '#core/address';
import { hasPorts, type Packet } from '../packet.ts';
import type { Origin, Rule, Verdict } from '../policy.ts';
import type { InterfaceTerm, RowOutcome, TrafficRow } from '../row.ts';
import { rewriteText } from '../translation.ts';
import { icmpWord, protocolWord } from './protocols.ts';

/** A row as texts: each list names what the packets may be, and the single entry `any` means no limit. */
export interface RowWords {
  readonly path: TrafficRow['path'];
  readonly family: 4 | 6;
  readonly before: Verdict;
  readonly after: Verdict;
  /** Address translation before and after; only where there is one. */
  readonly rewrite?: { readonly before: string | null; readonly after: string | null };
  readonly inInterfaces: readonly string[];
  readonly outInterfaces: readonly string[];
  readonly sources: readonly string[];
  readonly destinations: readonly string[];
  readonly protocols: readonly string[];
  readonly sourcePorts: readonly string[];
  readonly destinationPorts: readonly string[];
  readonly icmp: readonly string[];
  readonly states: readonly string[];
  /** What the difference hangs on besides the packet itself, such as a rate limit. */
  readonly conditions: readonly string[];
  readonly ruleBefore: Origin | null;
  readonly ruleAfter: Origin | null;
  readonly example: PacketWords;
}

/** One concrete packet as texts. Ports and ICMP only for protocols that have them. */
export interface PacketWords {
  readonly path: Packet['path'];
  readonly inInterface: string;
  readonly outInterface: string;
  readonly source: string;
  readonly destination: string;
  readonly protocol: string;
  readonly sourcePort?: number;
  readonly destinationPort?: number;
  readonly icmpType?: number;
  readonly icmpCode?: number;
  readonly state: Packet['state'];
  readonly conditions?: readonly string[];
}

const ANY = ['any'];

export function wordsOfRow(row: TrafficRow): RowWords {
  const { path, family, before, after } = row;
  const rewrites = before.rewrites.length + after.rewrites.length > 0;
  return {
    path,
    family,
    before: before.verdict,
    after: after.verdict,
    ...(rewrites ? { rewrite: { before: rewriteWords(before), after: rewriteWords(after) } } : {}),
    inInterfaces: row.inInterfaces?.map(interfaceWords) ?? ANY,
    outInterfaces: row.outInterfaces?.map(interfaceWords) ?? ANY,
    sources: row.sources === undefined ? ANY : formatAddresses(row.sources),
    destinations: row.destinations === undefined ? ANY : formatAddresses(row.destinations),
    protocols: row.protocols === undefined ? ANY : spans(row.protocols, protocolWord),
    sourcePorts: row.sourcePorts === undefined ? ANY : spans(row.sourcePorts, String),
    destinationPorts: row.destinationPorts === undefined ? ANY : spans(row.destinationPorts, String),
    icmp: row.icmp === undefined ? ANY : icmpWords(row.icmp, family),
    states: row.states === undefined ? ANY : [...row.states],
    conditions: row.conditions.map(({ name, holds }) => (holds ? name : `not: ${name}`)),
    ruleBefore: originOf(row.ruleBefore),
    ruleAfter: originOf(row.ruleAfter),
    example: wordsOfPacket(row.example),
  };
}

export function wordsOfPacket(packet: Packet): PacketWords {
  const { path, inInterface, outInterface, protocol, state, conditions } = packet;
  const ports = hasPorts(protocol)
    ? { sourcePort: packet.sourcePort ?? 0, destinationPort: packet.destinationPort ?? 0 }
    : {};
  const icmp =
    protocol === (packet.family === 4 ? 1 : 58)
      ? { icmpType: packet.icmpType ?? 0, icmpCode: packet.icmpCode ?? 0 }
      : {};
  return {
    path,
    inInterface,
    outInterface,
    source: formatAddress(packet.source),
    destination: formatAddress(packet.destination),
    protocol: protocolWord(protocol),
    ...ports,
    ...icmp,
    state,
    ...(conditions === undefined || conditions.length === 0 ? {} : { conditions }),
  };
}

function rewriteWords({ rewrites }: RowOutcome): string | null {
  return rewrites.length === 0 ? null : rewrites.map(rewriteText).join(', ');
}

function interfaceWords({ text, single, but }: InterfaceTerm): string {
  const name = single ? text : `${text}*`;
  return but.length === 0 ? name : `${name} but ${but.join(', ')}`;
}

/** Ranges as texts; a short run of named numbers is named one by one. */
export function spans(set: NumberSet, word: (value: number) => string): string[] {
  return pairsOf(set).flatMap(([low, high]) => {
    if (low === high) return [word(low)];
    if (word !== String && high - low < 3) {
      return Array.from({ length: high - low + 1 }, (_, i) => word(low + i));
    }
    return [`${low}-${high}`];
  });
}

/** Codes of ICMP are `type * 256 + code`; a type with all its codes is named without them. */
function icmpWords(set: NumberSet, family: 4 | 6): string[] {
  return pairsOf(set).flatMap(([low, high]) => {
    const words: string[] = [];
    for (let type = low >> 8; type <= high >> 8; type++) {
      const from = Math.max(low, type << 8) & 255;
      const to = Math.min(high, (type << 8) + 255) & 255;
      const codes = from === 0 && to === 255 ? '' : from === to ? ` code ${from}` : ` codes ${from}-${to}`;
      words.push(`${icmpWord(type, family)}${codes}`);
    }
    return words;
  });
}

function originOf(rule: Rule | undefined): Origin | null {
  return rule === undefined ? null : rule.origin;
}
