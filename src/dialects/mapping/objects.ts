import { formatAddresses } from '#core/address';
import type { ObjectKind, Value } from '#core/config';
import { titleOf, treeValue } from '#dialects/tree';
import { Entry } from './entry.ts';
import { type Mentions, type Model, nameOf } from './model.ts';
import { parsePath, select } from './path.ts';
import type { EntryOf } from './schema.ts';
import { isLiteral, serviceOf, serviceValue } from './services.ts';
import { addressesOf, inEntries } from './texts.ts';

/** Reads every object but rules and NAT. */
export function readObjects(model: Model): void {
  const { mapping } = model;
  for (const { entry, as } of model.entriesOf(mapping.addresses)) {
    const name = nameOf(entry, as);
    const texts = inEntries(
      entry.texts(as.value).map(({ text }) => text),
      as.as,
    );
    const sets = texts.flatMap((text) => addressesOf(text, as.as) ?? []);
    const unknown = texts.filter((text) => addressesOf(text, as.as) === undefined);
    if (model.addresses.has(name)) model.leaveSecond(entry, 'address', name);
    else model.addresses.set(name, { sets, unknown });
    const value = {
      addresses: sets.flatMap(formatAddresses).sort(),
      ...(unknown.length > 0 ? { texts: [...unknown].sort() } : {}),
    };
    finish(model, entry, as, 'address', name, value);
  }
  for (const [kind, list, into] of [
    ['address-group', mapping.groups, model.groups],
    ['service-group', mapping['service-groups'], model.serviceGroups],
  ] as const) {
    for (const { entry, as } of model.entriesOf(list)) {
      const name = nameOf(entry, as);
      const members = entry.texts(as.members);
      if (into.has(name)) model.leaveSecond(entry, kind, name);
      else
        into.set(
          name,
          members.map(({ text }) => text),
        );
      const kinds: readonly ObjectKind[] =
        kind === 'address-group' ? ['address', 'address-group'] : ['service', 'service-group'];
      finish(
        model,
        entry,
        as,
        kind,
        name,
        { members: members.map(({ text }) => text).sort() },
        { kinds, taken: members, isLiteral: (text) => isLiteral(text, mapping) },
      );
    }
  }
  for (const { entry, as } of model.entriesOf(mapping.services)) {
    const name = nameOf(entry, as);
    const service = serviceOf(entry, as, mapping);
    if (model.services.has(name)) model.leaveSecond(entry, 'service', name);
    else model.services.set(name, service);
    finish(model, entry, as, 'service', name, serviceValue(service));
  }
  for (const { entry, as } of model.entriesOf(mapping.zones)) {
    const name = nameOf(entry, as);
    const interfaces = entry.texts(as.interfaces);
    model.zones.set(name, new Set([...(model.zones.get(name) ?? []), ...interfaces.map(({ text }) => text)]));
    finish(
      model,
      entry,
      as,
      'zone',
      name,
      { interfaces: interfaces.map(({ text }) => text).sort() },
      { kinds: ['interface'], taken: interfaces, isLiteral: () => false },
    );
  }
  const homes = new Map<string, Entry>();
  for (const { entry, as } of model.entriesOf(mapping.interfaces)) {
    const name = nameOf(entry, as);
    const zones = entry.texts(as.zone);
    model.interfaces.add(name);
    for (const { text } of zones) {
      const known = model.zones.get(text);
      if (known === undefined) homes.set(text, entry);
      model.zones.set(text, new Set([...(known ?? []), name]));
    }
    const value = {
      addresses: entry
        .texts(as.addresses)
        .map(({ text }) => text)
        .sort(),
      zone: zones[0]?.text ?? null,
      enabled: !entry.has(as.disabled),
    };
    finish(model, entry, as, 'interface', name, value, {
      kinds: ['zone'],
      taken: zones,
      isLiteral: () => false,
    });
  }
  // A zone that only interfaces name stands where the first of them names it.
  for (const [name, entry] of homes) {
    model.add('zone', entry, name, { interfaces: [...model.zones.get(name)!].sort() });
  }
  for (const { entry, as } of model.entriesOf(mapping.routes)) {
    const destination = entry.text(as.destination) ?? '';
    const out = entry.texts(as.interface);
    const value = { destination, gateway: entry.text(as.gateway), interface: out[0]?.text ?? null };
    finish(model, entry, as, 'route', as.name === undefined ? destination : nameOf(entry, as), value, {
      kinds: ['interface'],
      taken: out,
      isLiteral: () => false,
    });
  }
  for (const tree of model.trees) {
    for (const path of mapping.settings ?? []) {
      for (const found of select(tree.root, parsePath(path))) {
        model.coverage.takeAll(found.node);
        model.add(
          'setting',
          new Entry(tree, found, model.coverage),
          titleOf(found.node),
          treeValue(found.node),
        );
      }
    }
  }
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
  model.leaveRest(entry, as.ignore, object.id);
}
