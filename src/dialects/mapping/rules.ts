import type { AddressSet, Family } from '#core/address';
import type { ObjectId, Value } from '#core/config';
import type { Condition, Match, Origin, Rewrite, Verdict } from '#core/traffic';
import { shorten } from '#dialects/source';
import type { Entry } from './entry.ts';
import { type Model, nameOf } from './model.ts';
import {
  type Addresses,
  matchOfService,
  resolveAddresses,
  resolveInterfaces,
  resolveServices,
} from './resolve.ts';
import type { EntryOf, Mapping } from './schema.ts';
import { isLiteral, serviceOf } from './services.ts';
import { inEntries } from './texts.ts';

/** A rule or translation, read. Compiled per family later, when all names are known. */
export interface ReadRule {
  readonly id: ObjectId;
  readonly origin: Origin;
  readonly enabled: boolean;
  /** Null: the action is not a word of the mapping. */
  readonly verdict: Verdict | null;
  readonly nat: EntryOf<'nat'>['kind'] | null;
  readonly rewrite: (family: Family) => Rewrite | null;
  readonly matches: (family: Family) => readonly Match[];
}

/** Reads rules and translations, in order. */
export function readRules(model: Model): {
  readonly rules: readonly ReadRule[];
  readonly nat: readonly ReadRule[];
} {
  const { mapping } = model;
  const found = model
    .entriesOf(mapping.rules)
    .map(({ entry, as }, index) => ({ entry, as, index, order: Number(entry.text(as.order) ?? Number.NaN) }));
  // Rules without a number keep their place among the others: only two numbers are ever compared.
  if (found.every(({ order }) => !Number.isNaN(order)))
    found.sort((a, b) => a.order - b.order || a.index - b.index);
  const rules = found.map(({ entry, as }, position) => readRule(model, entry, as, position, null));
  const nat = model
    .entriesOf(mapping.nat)
    .map(({ entry, as }, position) => readRule(model, entry, as, position, as));
  return { rules, nat };
}

function readRule(
  model: Model,
  entry: Entry,
  as: EntryOf<'rules'> | EntryOf<'nat'>,
  position: number,
  nat: EntryOf<'nat'> | null,
): ReadRule {
  const { mapping } = model;
  const taken = {
    from: entry.texts(as.from),
    to: entry.texts(as.to),
    source: entry.texts(as.source),
    destination: entry.texts(as.destination),
    service: entry.texts(as.service),
    addresses: nat === null ? [] : entry.texts(nat['to-addresses']),
    ports: nat === null ? [] : entry.texts(nat['to-ports']),
  };
  const texts = (key: keyof typeof taken) => taken[key].map(({ text }) => text);
  const parts = serviceOf(entry, as, mapping);
  const action = 'action' in as ? entry.text(as.action) : null;
  const verdict = verdictOf(action, mapping);
  const enabled = !entry.has(as.disabled);
  const name = nameOf(entry, as);
  const comment = entry.text(as.comment);
  const list = nat === null ? 'rules' : 'nat';
  const sorted = (key: keyof typeof taken): Value =>
    [...inEntries(texts(key), key === 'source' || key === 'destination' ? as.as : undefined)].sort();
  const value: { [field: string]: Value } = {
    from: sorted('from'),
    to: sorted('to'),
    source: sorted('source'),
    destination: sorted('destination'),
    service: sorted('service'),
    protocols: parts.protocols,
    ports: parts.ports,
    sourcePorts: parts.sourcePorts,
    enabled,
    ...(nat === null
      ? { action: verdict ?? action }
      : { kind: nat.kind, toAddresses: sorted('addresses'), toPorts: sorted('ports') }),
  };
  const literal = { isLiteral: (text: string) => isLiteral(text, mapping) };
  const zone = {
    kinds: ['zone', 'interface'] as const,
    isLiteral: (text: string) => mapping.words.any.includes(text) || mapping.words.not.includes(text),
  };
  const address = { kinds: ['address', 'address-group'] as const, ...literal };
  const mentions = [
    { ...zone, taken: taken.from },
    { ...zone, taken: taken.to },
    { ...address, taken: taken.source },
    { ...address, taken: taken.destination },
    { ...address, taken: taken.addresses },
    { kinds: ['service', 'service-group'] as const, ...literal, taken: taken.service },
  ];
  const rest = entry
    .left(as.ignore)
    .map((node) => ({ node, text: shorten(entry.tree.source.text.slice(node.start, node.end)) }));
  const object = model.add(
    nat === null ? 'rule' : 'nat',
    entry,
    name,
    rest.length === 0 ? value : { ...value, unread: rest.map(({ text }) => text) },
    { order: { list, position }, mentions, comment },
  );
  model.leaveRest(entry, as.ignore, object.id);
  if (nat === null && verdict === null)
    model.leave(
      entry.tree,
      entry.found.node,
      action === null ? 'The rule says no action.' : `The action ${action} is not a word of the mapping.`,
      object.id,
    );

  const { file, line } = entry.place;
  const origin = {
    file,
    line,
    text: `${name}: ${shorten(entry.tree.source.text.slice(entry.found.node.start, entry.found.node.end), 160)}`,
  };
  const unread: string[] = rest.map(({ text }) => text.replace(/;$/, ''));
  const own = model.ownName(`${list} ${name}`, name);
  // Names are resolved once, and only when a policy is asked for: by then every object is known.
  let resolved: ReturnType<typeof resolve> | undefined;
  const sides = () => {
    resolved ??= resolve();
    return resolved;
  };
  const resolve = () => {
    const source = resolveAddresses(model, texts('source'), as.as);
    const destination = resolveAddresses(model, texts('destination'), as.as);
    const { services, unknown } = resolveServices(model, texts('service'), parts);
    const [inInterface, outInterface] = [
      resolveInterfaces(model, texts('from')),
      resolveInterfaces(model, texts('to')),
    ];
    const legs = {
      ...(inInterface === undefined ? {} : { inInterface }),
      ...(outInterface === undefined ? {} : { outInterface }),
    };
    return { source, destination, services, unknown, legs };
  };
  const matches = (family: Family): readonly Match[] => {
    const { source, destination, services, unknown, legs } = sides();
    // It may count or remember (a rate, a time), so it is a condition of this rule alone.
    const conditions = unread.map((text): Condition => ({ name: `${text} (${own})`, holds: true }));
    const protocols: Match[] = [
      ...services.map(matchOfService),
      ...unknown.map((text) => ({ conditions: [{ name: `service ${text}`, holds: true }] })),
    ];
    return sideMatches('source', source, family).flatMap((s) =>
      sideMatches('destination', destination, family).flatMap((d) =>
        protocols.map((p): Match => {
          const all = [
            ...conditions,
            ...(s.conditions ?? []),
            ...(d.conditions ?? []),
            ...(p.conditions ?? []),
          ];
          return { ...legs, ...s, ...d, ...p, ...(all.length === 0 ? {} : { conditions: all }) };
        }),
      ),
    );
  };
  const rewrite = (family: Family) =>
    nat === null
      ? null
      : rewriteOf(
          model,
          nat.kind,
          texts('addresses'),
          parts.unknown.length > 0 ? [] : texts('ports'),
          family,
        );
  return { id: object.id, origin, enabled, verdict, nat: nat?.kind ?? null, rewrite, matches };
}

function verdictOf(action: string | null, { words }: Mapping): Verdict | null {
  if (action === null) return null;
  for (const verdict of ['accept', 'drop', 'reject'] as const)
    if (words[verdict].includes(action)) return verdict;
  return null;
}

/** One match for what is known of a side and one under a condition for each thing that is not. */
function sideMatches(side: 'source' | 'destination', { sets, unknown }: Addresses, family: Family): Match[] {
  if (sets === null) return [{}];
  const set: AddressSet | undefined = sets[family];
  const known: Match[] = set === undefined ? [] : [{ [side]: set }];
  return [...known, ...unknown.map((text) => ({ conditions: [{ name: `${side} ${text}`, holds: true }] }))];
}

function rewriteOf(
  model: Model,
  kind: EntryOf<'nat'>['kind'],
  addressTexts: readonly string[],
  portTexts: readonly string[],
  family: Family,
): Rewrite | null {
  if (kind === 'masquerade') return { kind: 'masquerade' };
  const { sets, unknown } = resolveAddresses(model, addressTexts);
  const ports = portTexts.flatMap((text) => model.portsOf(text) ?? []);
  const addresses = sets?.[family];
  if (
    unknown.length > 0 ||
    (addressTexts.length > 0 && addresses === undefined) ||
    (addressTexts.length === 0 && ports.length === 0)
  )
    return null;
  return {
    kind: kind === 'source' ? 'snat' : 'dnat',
    ...(addresses === undefined ? {} : { addresses }),
    ...(ports.length === 0 ? {} : { ports }),
  };
}

/** The packets that a rule could touch at most, where that is one family and one match; else nothing is promised. */
export function reachOf(rule: ReadRule): { readonly families?: readonly Family[]; readonly match?: Match } {
  const [four, six] = [rule.matches(4), rule.matches(6)];
  if ((four.length === 0) === (six.length === 0)) return {};
  const [only, ...more] = four.length > 0 ? four : six;
  const families: Family[] = [four.length > 0 ? 4 : 6];
  if (more.length > 0) return { families };
  const { conditions: _, ...match } = only!;
  return { families, match };
}
