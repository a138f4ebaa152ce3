import type { Family, NumberSet } from '#core/address';
import type { Condition, Match, Rewrite } from '#core/traffic';
import type { Model } from './model.ts';
import {
  type Addresses,
  type Legs,
  matchOfService,
  ofFamily,
  resolveAddresses,
  resolveInterfaces,
  resolveServices,
} from './resolve.ts';
import type { ReadRule } from './rules.ts';

/** A rule in terms of packets: several matches where it lists several services, or where a part of it is unknown. */
export interface CompiledRule {
  readonly rule: ReadRule;
  matches(family: Family): readonly Match[];
  /** What a translation does to packets of the family; null where it does nothing, or nothing known. */
  rewrite(family: Family): Rewrite | null;
}

/** Resolves the names of a rule. Every object must have been read before. */
export function compileRule(model: Model, rule: ReadRule): CompiledRule {
  const { texts, format } = rule;
  const from = resolveInterfaces(model, texts.from);
  const to = resolveInterfaces(model, texts.to);
  const source = resolveAddresses(model, texts.source, format);
  const destination = resolveAddresses(model, texts.destination, format);
  const { services, unknown } = resolveServices(model, texts.service, rule.parts);
  // What nobody explained may count or remember (a rate, a time), so it is a condition of this rule alone.
  const own =
    rule.unread.length === 0 ? ANY : [withConditions(rule.unread.map((text) => `${text} (${rule.ownName})`))];
  const service = services.map(matchOfService);
  for (const text of unknown) service.push(withConditions([`service ${text}`]));
  return {
    rule,
    matches: (family) =>
      [
        legMatches('inInterface', from),
        legMatches('outInterface', to),
        sideMatches('source', source, family),
        sideMatches('destination', destination, family),
        service,
      ].reduce(meetEach, own),
    rewrite: (family) => rewriteOf(model, rule, family),
  };
}

function withConditions(names: readonly string[]): Match {
  return { conditions: names.map((name): Condition => ({ name, holds: true })) };
}

/** One without limits: what most rules say of most sides. */
const ANY: readonly Match[] = [{}];

/** Each of the matches with each of the others. */
function meetEach(matches: readonly Match[], others: readonly Match[]): readonly Match[] {
  if (others === ANY) return matches;
  if (matches === ANY) return others;
  if (matches.length === 1 && others.length === 1) return [meet(matches[0]!, others[0]!)];
  return matches.flatMap((match) => others.map((other) => meet(match, other)));
}

/** Both limits at once; they never limit the same field but conditions. */
function meet(a: Match, b: Match): Match {
  if (a.conditions === undefined && b.conditions === undefined) return { ...a, ...b };
  const conditions = [...(a.conditions ?? []), ...(b.conditions ?? [])];
  return { ...a, ...b, ...(conditions.length === 0 ? {} : { conditions }) };
}

/** One match for what is known of a side and one under a condition for each thing that is not. */
function sideMatches(
  side: 'source' | 'destination',
  { sets, unknown }: Addresses,
  family: Family,
): readonly Match[] {
  if (sets === null) return ANY;
  const set = ofFamily(sets, family);
  const matches: Match[] = set === undefined ? [] : [{ [side]: set }];
  for (const text of unknown) matches.push(withConditions([`${side} ${text}`]));
  return matches;
}

function legMatches(side: 'inInterface' | 'outInterface', { set, unknown }: Legs): readonly Match[] {
  if (set === undefined) return ANY;
  const known = set.names.length > 0 || set.except === true || unknown.length === 0 ? [{ [side]: set }] : [];
  const word = side === 'inInterface' ? 'from' : 'to';
  return [...known, ...unknown.map((text) => withConditions([`${word} ${text}`]))];
}

function rewriteOf(model: Model, { nat, texts }: ReadRule, family: Family): Rewrite | null {
  if (nat === null) return null;
  if (nat === 'masquerade') return { kind: 'masquerade' };
  const { sets, unknown } = resolveAddresses(model, texts.toAddresses);
  const ports: NumberSet = texts.toPorts.flatMap((text) => model.portsOf(text) ?? []);
  const understood = unknown.length === 0 && texts.toPorts.every((text) => model.portsOf(text) !== undefined);
  const addresses = ofFamily(sets ?? [], family);
  const hasAddresses = texts.toAddresses.length > 0;
  if (!understood || (hasAddresses ? addresses === undefined : ports.length === 0)) return null;
  return {
    kind: nat === 'source' ? 'snat' : 'dnat',
    ...(addresses === undefined ? {} : { addresses }),
    ...(ports.length === 0 ? {} : { ports }),
  };
}

/** The packets that a rule could touch at most, where that is one family and one match; else nothing is promised. */
export function reachOf({ matches }: CompiledRule): {
  readonly families?: readonly Family[];
  readonly match?: Match;
} {
  const [four, six] = [matches(4), matches(6)];
  if ((four.length === 0) === (six.length === 0)) return {};
  const [only, ...more] = four.length > 0 ? four : six;
  const families: Family[] = [four.length > 0 ? 4 : 6];
  if (more.length > 0 || only === undefined) return { families };
  const { conditions, ...match } = only;
  // A condition that stands for an unknown address says that this limit is not known.
  return conditions?.some(({ name }) => /^(?:source|destination|service|from|to) /.test(name))
    ? { families }
    : { families, match };
}
