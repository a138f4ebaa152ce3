import type { ObjectId, Value } from '#core/config';
import type { Origin, Verdict } from '#core/traffic';
import { shorten } from '#dialects/source';
import type { Entry, Taken } from './entry.ts';
import { type Mentions, type Model, nameOf } from './model.ts';
import type { EntryOf, Field, Mapping } from './schema.ts';
import { type Service, serviceOf } from './services.ts';
import { type AddressFormat, inEntries } from './texts.ts';

/** The fields of a rule that hold names or values. */
const SIDES = ['from', 'to', 'source', 'destination', 'service'] as const;
type Side = (typeof SIDES)[number];

/** A rule or translation as read, its names not yet resolved. */
export interface ReadRule {
  readonly id: ObjectId;
  /** Tells it apart from rules of the same name. */
  readonly ownName: string;
  readonly origin: Origin;
  readonly enabled: boolean;
  /** Null for translations, and where the action is not a word of the mapping. */
  readonly verdict: Verdict | null;
  readonly nat: EntryOf<'nat'>['kind'] | null;
  readonly texts: { readonly [Name in Side | 'toAddresses' | 'toPorts']: readonly string[] };
  /** Protocol and ports from fields of the rule itself. */
  readonly parts: Service;
  readonly format: AddressFormat | undefined;
  /** Texts of the rule that the mapping does not explain. */
  readonly unread: readonly string[];
}

/** Reads the rules, in the order they count. */
export function readRules(model: Model): ReadRule[] {
  const found = model
    .entriesOf(model.mapping.rules)
    .map(({ entry, as }, index) => ({ entry, as, index, order: numberOf(entry.text(as.order)) }));
  const without = found.filter(({ order }) => Number.isNaN(order));
  if (without.length === 0) found.sort((a, b) => a.order - b.order || a.index - b.index);
  const rules = found.map(({ entry, as }, position) => readRule(model, entry, as, null, position));
  if (without.length < found.length) {
    for (const { entry, index } of without)
      model.leave(
        entry.tree,
        entry.found.node,
        'Other rules have a number and this one has none, so the order of the text counts.',
        rules[index]!.id,
      );
  }
  return rules;
}

/** Reads the translations, in the order of the text. */
export function readNat(model: Model): ReadRule[] {
  return model
    .entriesOf(model.mapping.nat)
    .map(({ entry, as }, position) => readRule(model, entry, as, as, position));
}

function numberOf(text: string | null): number {
  return text !== null && /^\d{1,15}$/.test(text) ? Number(text) : Number.NaN;
}

function readRule(
  model: Model,
  entry: Entry,
  as: EntryOf<'rules'> | EntryOf<'nat'>,
  nat: EntryOf<'nat'> | null,
  position: number,
): ReadRule {
  const { mapping } = model;
  const taken = {
    from: entry.texts(as.from),
    to: entry.texts(as.to),
    source: entry.texts(as.source),
    destination: entry.texts(as.destination),
    service: entry.texts(as.service),
  };
  const sides = {
    from: textsIn(taken.from),
    to: textsIn(taken.to),
    source: textsIn(taken.source),
    destination: textsIn(taken.destination),
    service: textsIn(taken.service),
  };
  const toAddresses = entry.texts(nat?.['to-addresses']);
  const toPorts = entry.texts(nat?.['to-ports']);
  const parts = serviceOf(entry, as, mapping);
  const action = 'action' in as ? entry.text(as.action) : null;
  const verdict = verdictOf(action, mapping);
  const enabled = !entry.has(as.disabled);
  const name = nameOf(entry, as);
  const comment = entry.text(as.comment);
  const list = nat === null ? 'rules' : 'nat';

  const rest = entry.left(as.ignore);
  // A list that is there but empty may mean anything or nothing.
  const empty = SIDES.filter((side) => taken[side].length === 0 && isThere(entry, as[side]));
  const unread = [
    ...rest.map((part) => shorten(entry.tree.source.text.slice(part.start, part.end)).replace(/;$/, '')),
    ...empty.map((side) => `${side} is empty`),
  ];
  const entriesOf = (side: Side) => sorted(inEntries(sides[side], as.as));
  const value: { [field: string]: Value } = {
    from: entriesOf('from'),
    to: entriesOf('to'),
    source: entriesOf('source'),
    destination: entriesOf('destination'),
    service: entriesOf('service'),
    protocols: parts.protocols,
    ports: parts.ports,
    sourcePorts: parts.sourcePorts,
    enabled,
  };
  if (nat === null) value.action = verdict ?? action;
  else {
    value.kind = nat.kind;
    value.toAddresses = sorted(textsIn(toAddresses));
    value.toPorts = sorted(textsIn(toPorts));
  }
  if (unread.length > 0) value.unread = unread;
  const mentions = mentionsOf(model, taken, toAddresses);
  const object = model.add(nat === null ? 'rule' : 'nat', entry, name, value, {
    order: { list, position },
    mentions,
    comment,
  });
  model.leaveRest(entry, rest, object.id);
  for (const side of empty)
    model.leave(entry.tree, entry.found.node, `The field ${side} is empty: anything, or nothing?`, object.id);
  if (nat === null && verdict === null) {
    model.leave(
      entry.tree,
      entry.found.node,
      action === null ? 'The rule says no action.' : `The action ${action} is not a word of the mapping.`,
      object.id,
    );
  }
  const { file, line, start, end } = entry.place;
  const text = shorten(entry.tree.source.text.slice(start, end), 160);
  return {
    id: object.id,
    ownName: model.ownName(`${list} ${name}`, name),
    origin: { file, line, text: text.includes(name) ? text : `${name}: ${text}` },
    enabled,
    verdict,
    nat: nat?.kind ?? null,
    texts: { ...sides, toAddresses: textsIn(toAddresses), toPorts: textsIn(toPorts) },
    parts,
    format: as.as,
    unread,
  };
}

function isThere(entry: Entry, field: Field | undefined): boolean {
  return field !== undefined && entry.finds(field);
}

function textsIn(taken: readonly Taken[]): readonly string[] {
  return taken.length === 0 ? NONE : taken.map(({ text }) => text);
}

const NONE: readonly string[] = [];

function sorted(texts: readonly string[]): readonly string[] {
  return texts.length < 2 ? texts : texts.toSorted();
}

function mentionsOf(
  model: Model,
  taken: Readonly<Record<Side, readonly Taken[]>>,
  toAddresses: readonly Taken[],
): Mentions[] {
  const mentions: Mentions[] = [];
  const mention = (kinds: Mentions['kinds'], isLiteral: Mentions['isLiteral'], texts: readonly Taken[]) => {
    if (texts.length > 0) mentions.push({ kinds, isLiteral, taken: texts });
  };
  mention(LEGS, model.isWord, taken.from);
  mention(LEGS, model.isWord, taken.to);
  mention(ADDRESSES, model.isLiteral, taken.source);
  mention(ADDRESSES, model.isLiteral, taken.destination);
  mention(ADDRESSES, model.isLiteral, toAddresses);
  mention(SERVICES, model.isLiteral, taken.service);
  return mentions;
}

const LEGS = ['zone', 'interface'] as const;
const ADDRESSES = ['address', 'address-group'] as const;
const SERVICES = ['service', 'service-group'] as const;

function verdictOf(action: string | null, { words }: Mapping): Verdict | null {
  if (action === null) return null;
  return (['accept', 'drop', 'reject'] as const).find((verdict) => words[verdict].includes(action)) ?? null;
}
