import { formatAddresses } from '#core/address';
import type { ObjectKind, Value } from '#core/config';
import { titleOf, treeValue } from '#dialects/tree';
import type { Entry } from './entry.ts';
import { type Mentions, type Model, nameOf } from './model.ts';
import type { EntryOf, Field } from './schema.ts';
import { isLiteral, serviceOf, serviceValue } from './services.ts';
import { addressesOf, inEntries } from './texts.ts';

/** Reads every object but rules and NAT. */
export function readObjects(model: Model): void {
  readAddresses(model);
  readGroups(model, 'address-group', model.groups);
  readServices(model);
  readGroups(model, 'service-group', model.serviceGroups);
  readZones(model);
  readInterfaces(model);
  readRoutes(model);
  readSettings(model);
}

function readAddresses(model: Model): void {
  for (const { entry, as } of model.entriesOf(model.mapping.addresses)) {
    const name = nameOf(entry, as);
    const texts = inEntries(wordsOf(entry, as.value), as.as);
    const sets = texts.flatMap((text) => addressesOf(text, as.as) ?? []);
    const unknown = texts.filter((text) => addressesOf(text, as.as) === undefined);
    if (model.addresses.has(name)) model.leaveSecond(entry, 'address', name);
    else model.addresses.set(name, { sets, unknown });
    const addresses = sets.flatMap(formatAddresses).sort();
    finish(model, entry, as, 'address', name, {
      addresses,
      ...(unknown.length > 0 ? { texts: [...unknown].sort() } : {}),
    });
  }
}

function readGroups(
  model: Model,
  kind: 'address-group' | 'service-group',
  into: Map<string, readonly string[]>,
): void {
  const { mapping } = model;
  const kinds: readonly ObjectKind[] = kind === 'address-group' ? ['address', kind] : ['service', kind];
  for (const { entry, as } of model.entriesOf(
    kind === 'address-group' ? mapping.groups : mapping['service-groups'],
  )) {
    const name = nameOf(entry, as);
    const taken = entry.texts(as.members);
    const members = taken.map(({ text }) => text);
    if (into.has(name)) model.leaveSecond(entry, kind, name);
    else into.set(name, members);
    finish(
      model,
      entry,
      as,
      kind,
      name,
      { members: [...members].sort() },
      { kinds, taken, isLiteral: (text) => isLiteral(text, mapping) },
    );
  }
}

function readServices(model: Model): void {
  for (const { entry, as } of model.entriesOf(model.mapping.services)) {
    const name = nameOf(entry, as);
    const service = serviceOf(entry, as, model.mapping);
    if (model.services.has(name)) model.leaveSecond(entry, 'service', name);
    else model.services.set(name, service);
    finish(model, entry, as, 'service', name, serviceValue(service));
  }
}

function readZones(model: Model): void {
  for (const { entry, as } of model.entriesOf(model.mapping.zones)) {
    const name = nameOf(entry, as);
    const taken = entry.texts(as.interfaces);
    const interfaces = taken.map(({ text }) => text);
    model.zones.set(name, new Set([...(model.zones.get(name) ?? []), ...interfaces]));
    finish(
      model,
      entry,
      as,
      'zone',
      name,
      { interfaces: interfaces.sort() },
      { kinds: ['interface'], taken, isLiteral: () => false },
    );
  }
}

/** Interfaces, and the zones that only they name: such a zone stands where the first of them names it. */
function readInterfaces(model: Model): void {
  const homes = new Map<string, Entry>();
  for (const { entry, as } of model.entriesOf(model.mapping.interfaces)) {
    const name = nameOf(entry, as);
    const taken = entry.texts(as.zone);
    model.interfaces.add(name);
    for (const { text } of taken) {
      const known = model.zones.get(text);
      if (known === undefined) homes.set(text, entry);
      model.zones.set(text, new Set([...(known ?? []), name]));
    }
    const value = {
      addresses: wordsOf(entry, as.addresses).sort(),
      zone: taken[0]?.text ?? null,
      enabled: !entry.has(as.disabled),
    };
    finish(model, entry, as, 'interface', name, value, { kinds: ['zone'], taken, isLiteral: () => false });
  }
  for (const [name, entry] of homes) {
    model.add('zone', entry, name, { interfaces: [...model.zones.get(name)!].sort() });
  }
}

function readRoutes(model: Model): void {
  for (const { entry, as } of model.entriesOf(model.mapping.routes)) {
    const destination = entry.text(as.destination) ?? '';
    const taken = entry.texts(as.interface);
    const value = { destination, gateway: entry.text(as.gateway), interface: taken[0]?.text ?? null };
    const name = as.name === undefined ? destination : nameOf(entry, as);
    finish(model, entry, as, 'route', name, value, { kinds: ['interface'], taken, isLiteral: () => false });
  }
}

function readSettings(model: Model): void {
  for (const { entry } of model.entriesOf((model.mapping.settings ?? []).map((at) => ({ at })))) {
    const { node } = entry.found;
    model.coverage.takeAll(node);
    model.add('setting', entry, titleOf(node), treeValue(node));
  }
}

function wordsOf(entry: Entry, field: Field | undefined): string[] {
  return entry.texts(field).map(({ text }) => text);
}

function finish(
  model: Model,
  entry: Entry,
  as: {
    readonly comment?: EntryOf<'rules'>['comment'] | undefined;
    readonly ignore?: readonly string[] | undefined;
  },
  kind: ObjectKind,
  name: string,
  value: { readonly [field: string]: Value },
  mentions?: Mentions,
): void {
  const comment = entry.text(as.comment);
  const object = model.add(kind, entry, name, value, {
    mentions: mentions === undefined ? [] : [mentions],
    comment,
  });
  model.leaveRest(entry, entry.left(as.ignore), object.id);
}
