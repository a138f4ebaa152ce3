import {
  type AddressSet,
  exceptAddresses,
  exceptNumbers,
  type Family,
  formatRange,
  type NumberSet,
  pairsOf,
} from '#core/address';
import type { Origin } from './policy.ts';
import type { InterfaceTerm, RowOutcome, TrafficRow } from './row.ts';
import { rewriteText } from './translation.ts';
import { icmpTypeText, protocolText } from './words.ts';

/**
 * Gives the user's own names to values: an address object, a service, a zone. Asked first for a whole set, then for each
 * of its ranges; undefined where no name fits exactly.
 */
export interface Naming {
  addresses?(set: AddressSet): string | undefined;
  ports?(set: NumberSet, protocols: NumberSet | undefined): string | undefined;
  interfaces?(names: readonly string[]): string | undefined;
}

/** A row as lists of texts; the single entry `any` means no limit. */
export interface RowTexts {
  readonly inInterfaces: readonly string[];
  readonly outInterfaces: readonly string[];
  readonly sources: readonly string[];
  readonly destinations: readonly string[];
  readonly protocols: readonly string[];
  readonly sourcePorts: readonly string[];
  readonly destinationPorts: readonly string[];
  readonly icmp: readonly string[];
  readonly states: readonly string[];
  /** What must hold besides, such as `limit rate 5/second #1` or `not mark 1`. Empty: nothing. */
  readonly conditions: readonly string[];
}

const ANY = ['any'] as const;

export function rowTexts(row: TrafficRow, naming: Naming = {}): RowTexts {
  return {
    inInterfaces: interfaceTexts(row.inInterfaces, naming),
    outInterfaces: interfaceTexts(row.outInterfaces, naming),
    sources: addressTexts(row.sources, naming),
    destinations: addressTexts(row.destinations, naming),
    protocols: protocolTexts(row.protocols),
    sourcePorts: portTexts(row.sourcePorts, row.protocols, naming),
    destinationPorts: portTexts(row.destinationPorts, row.protocols, naming),
    icmp: row.icmp === undefined ? ANY : icmpTexts(row.icmp, row.family),
    states: row.states ?? ANY,
    conditions: row.conditions.map(({ name, holds }) => (holds ? name : `not ${name}`)),
  };
}

function interfaceTexts(terms: readonly InterfaceTerm[] | undefined, naming: Naming): readonly string[] {
  if (terms === undefined) return ANY;
  if (terms.every((term) => term.single)) {
    const whole = naming.interfaces?.(terms.map((term) => term.text));
    if (whole !== undefined) return [whole];
  }
  const singles = terms.filter((term) => term.single).map((term) => term.text);
  const listed = new Set([...singles, ...terms.filter((t) => !t.single).map((t) => `${t.text}*`)]);
  const wide = terms.filter((term) => !term.single);
  const texts = wide
    // What another wide term says already is left out.
    .filter((term) => !wide.some((w) => w !== term && term.text.startsWith(w.text)))
    .map(({ text, but }) => {
      const missing = but.filter((name) => !listed.has(name));
      const all = text === '' ? 'any' : `${text}*`;
      return missing.length === 0 ? all : `${all} except ${missing.join(', ')}`;
    });
  const covered = (name: string) => wide.some((term) => name.startsWith(term.text));
  return [...singles.filter((name) => !covered(name)), ...texts];
}

function addressTexts(set: AddressSet | undefined, naming: Naming): readonly string[] {
  if (set === undefined) return ANY;
  const whole = naming.addresses?.(set);
  if (whole !== undefined) return [whole];
  return set.ranges.map(
    (range) => naming.addresses?.({ family: set.family, ranges: [range] }) ?? formatRange(range),
  );
}

function protocolTexts(set: NumberSet | undefined): readonly string[] {
  if (set === undefined) return ANY;
  return pairsOf(set).flatMap(([low, high]) =>
    high - low < 2 ? [...new Set([protocolText(low), protocolText(high)])] : [`${low}-${high}`],
  );
}

function portTexts(
  set: NumberSet | undefined,
  protocols: NumberSet | undefined,
  naming: Naming,
): readonly string[] {
  if (set === undefined) return ANY;
  const whole = naming.ports?.(set, protocols);
  if (whole !== undefined) return [whole];
  return pairsOf(set).map(
    ([low, high]) => naming.ports?.([low, high], protocols) ?? (low === high ? `${low}` : `${low}-${high}`),
  );
}

/** Whole types by name, single codes as `destination-unreachable code 4`. */
function icmpTexts(set: NumberSet, family: TrafficRow['family']): string[] {
  return pairsOf(set).flatMap(([low, high]) => {
    const texts: string[] = [];
    for (let type = low >> 8; type <= high >> 8; type++) {
      const first = Math.max(low, type * 256) & 255;
      const last = Math.min(high, type * 256 + 255) & 255;
      const codes =
        first === 0 && last === 255 ? '' : first === last ? ` code ${first}` : ` codes ${first}-${last}`;
      texts.push(`${icmpTypeText(type, family)}${codes}`);
    }
    return compact(texts, low, high);
  });
}

/** Many whole types in a row read better as a range. */
function compact(texts: string[], low: number, high: number): string[] {
  return texts.length > 8 ? [`types ${low >> 8}-${high >> 8}`] : texts;
}

/** `accept`, or `accept with dnat to 10.0.0.1`. */
export function outcomeText({ verdict, rewrites }: RowOutcome): string {
  return rewrites.length === 0 ? verdict : `${verdict} with ${rewrites.map(rewriteText).join(' and ')}`;
}

/** `drop -> accept with masquerade`; where only translations differ, and not all in one way, `accept, translated differently`. */
export function outcomesText({ before, after }: Pick<TrafficRow, 'before' | 'after'>): string {
  const [then, now] = [outcomeText(before), outcomeText(after)];
  return then === now ? `${then}, translated differently` : `${then} -> ${now}`;
}

/** The outcome of all of them, which have one verdict; without translations where these are not the same for all. */
export function sharedOutcome(outcomes: readonly RowOutcome[]): RowOutcome {
  const first = outcomes[0]!;
  return outcomes.every((outcome) => outcomeText(outcome) === outcomeText(first))
    ? first
    : { verdict: first.verdict, rewrites: [] };
}

/** `gate.rules:12: tcp dport 22 accept`, or a sentence when no rule decided. */
export function originText(origin: Origin | undefined): string {
  return origin === undefined
    ? 'no rule: the packet runs through'
    : `${origin.file}:${origin.line}: ${origin.text}`;
}

/**
 * One row in one line: `tcp from 10.0.0.0/8 on lan0 to 192.0.2.10 on wan0 port 443, new`. Where no address shows the version
 * of IP it is said: `tcp over IPv6 from any to any port 443`. `families`: the versions that the row stands for.
 */
export function rowText(
  row: TrafficRow,
  naming: Naming = {},
  families: readonly Family[] = [row.family],
): string {
  const t = shortTexts(row, naming);
  const limited = (texts: readonly string[], before: string) =>
    texts[0] === 'any' ? '' : `${before}${listed(texts)}`;
  const version = families.map((family) => `IPv${family}`).join(' and ');
  const [first = '', ...more] = t.protocols;
  const anywhere = row.sources === undefined && row.destinations === undefined;
  return [
    first.startsWith('any') ? `any ${version}${first.slice('any'.length)}` : [first, ...more].join(', '),
    !first.startsWith('any') && anywhere ? ` over ${version}` : '',
    limited(t.icmp, ' '),
    ` from ${listed(t.sources)}`,
    limited(t.sourcePorts, ' port '),
    limited(t.inInterfaces, ' on '),
    ` to ${listed(t.destinations)}`,
    limited(t.destinationPorts, ' port '),
    limited(t.outInterfaces, ' on '),
    limited(t.states, ', '),
    t.conditions.length === 0 ? '' : `, if ${t.conditions.join(' and ')}`,
  ].join('');
}

/** How many entries of a list a sentence names. */
const LISTED = 20;

function listed(texts: readonly string[]): string {
  const more = texts.length - LISTED;
  return more <= 1 ? texts.join(', ') : `${texts.slice(0, LISTED).join(', ')} and ${more} more`;
}

/** As `rowTexts`, but a set that leaves out less than it holds is named by what it leaves out: `any but 53`. */
export function shortTexts(row: TrafficRow, naming: Naming = {}): RowTexts {
  const texts = rowTexts(row, naming);
  const choose = (whole: readonly string[], but: readonly string[]) =>
    but.length > 0 && but.length < whole.length ? [`any but ${listed(but)}`] : whole;
  const addresses = (set: AddressSet | undefined, whole: readonly string[]) =>
    set === undefined ? whole : choose(whole, addressTexts(exceptAddresses(set), naming));
  const ports = (set: NumberSet | undefined, whole: readonly string[]) =>
    set === undefined ? whole : choose(whole, portTexts(exceptNumbers(set, 65535), row.protocols, naming));
  const { protocols } = row;
  return {
    ...texts,
    sources: addresses(row.sources, texts.sources),
    destinations: addresses(row.destinations, texts.destinations),
    protocols:
      protocols === undefined
        ? texts.protocols
        : choose(texts.protocols, protocolTexts(exceptNumbers(protocols, 255))),
    sourcePorts: ports(row.sourcePorts, texts.sourcePorts),
    destinationPorts: ports(row.destinationPorts, texts.destinationPorts),
  };
}
