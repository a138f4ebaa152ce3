import { TuckpointError } from '#core/errors';
import type { ConfigObject, ObjectKind } from '../typed-configuration.ts';
import { closureOf } from './closure.ts';
import { nearNames } from './near-names.ts';
import { fits, type Selector } from './selector.ts';
import { localName, type Structure } from './structure.ts';

/** What selectors picked from a configuration. */
export interface Choice {
  /** In the order of the configuration, each once. */
  readonly objects: readonly ConfigObject[];
  /** The same by section and kind, for the eye. */
  readonly tree: readonly ChoiceBranch[];
}

export interface ChoiceBranch {
  readonly section: string;
  readonly kind: ObjectKind;
  readonly count: number;
  readonly names: readonly string[];
}

/**
 * Picks what the selectors name.
 * @throws TuckpointError `config/nothing-selected` for a selector that matches nothing, with near names.
 */
export function choose(structure: Structure, selectors: readonly Selector[]): Choice {
  const picked = new Set<ConfigObject>();
  for (const selector of selectors) {
    const found = matching(structure, selector);
    if (found.length === 0) throw nothing(structure, selector);
    for (const object of found) picked.add(object);
  }
  const objects = structure.configuration.objects.filter((object) => picked.has(object));
  return { objects, tree: treeOf(objects) };
}

/** Objects by section and kind, in the order in which they first appear. */
export function treeOf(objects: readonly ConfigObject[]): ChoiceBranch[] {
  const branches = new Map<string, { section: string; kind: ObjectKind; names: string[] }>();
  for (const { section, kind, name } of objects) {
    const key = `${section}\n${kind}`;
    const known = branches.get(key);
    if (known === undefined) branches.set(key, { section, kind, names: [name] });
    else known.names.push(name);
  }
  return [...branches.values()].map((branch) => ({ ...branch, count: branch.names.length }));
}

function matching(structure: Structure, selector: Selector): readonly ConfigObject[] {
  const { objects } = structure.configuration;
  switch (selector.what) {
    case 'names':
      return objects.filter(
        (object) =>
          (selector.kind === null || object.kind === selector.kind) &&
          namesOf(structure, object).some((name) => fits(selector.pattern, name)),
      );
    case 'section':
      return objects.filter(
        ({ section, kind, name }) =>
          sectionNames(section).some((title) => fits(selector.pattern, title)) ||
          (kind === 'section' && fits(selector.pattern, name)),
      );
    case 'needs': {
      const asked = matching(structure, selector.of);
      const own = new Set(asked);
      return closureOf(structure, asked)
        .parts.filter(({ object, role }) => role === 'needed' && !own.has(object))
        .map(({ object }) => object);
    }
    case 'uses':
      return usersOf(structure, matching(structure, selector.of));
  }
}

/** Everything that mentions the objects, or mentions what mentions them: a rule by way of a group, too. */
function usersOf(structure: Structure, asked: readonly ConfigObject[]): ConfigObject[] {
  const found = new Set<ConfigObject>();
  const queue = [...asked];
  for (let object = queue.pop(); object !== undefined; object = queue.pop()) {
    for (const user of structure.references.usersOf(object.id)) {
      if (found.has(user) || asked.includes(user)) continue;
      found.add(user);
      queue.push(user);
    }
  }
  return [...found];
}

function namesOf(structure: Structure, object: ConfigObject): string[] {
  const local = object.order === null ? localName(structure, object) : object.name;
  return local === object.name ? [local] : [object.name, local];
}

/** A heading, and without the word before it: `table inet filter` is also `inet filter`. */
function sectionNames(section: string): string[] {
  const rest = section.replace(/^\S+ /, '');
  return rest === section ? [section] : [section, rest];
}

function nothing(structure: Structure, selector: Selector): TuckpointError {
  const inner = innermost(selector);
  const { objects } = structure.configuration;
  const known =
    inner.what === 'section'
      ? objects.map((object) => object.section)
      : objects
          .filter((object) => inner.what === 'names' && (inner.kind === null || object.kind === inner.kind))
          .map((object) => (object.order === null ? localName(structure, object) : object.name));
  const near = nearNames('pattern' in inner ? inner.pattern : inner.text, known);
  const matchesSomething = inner !== selector && matching(structure, inner).length > 0;
  return new TuckpointError(
    'config/nothing-selected',
    matchesSomething
      ? `"${selector.text}" picks nothing: ${selector.what === 'uses' ? 'nothing uses it' : 'it needs nothing'}.`
      : `"${selector.text}" picks nothing.`,
    {
      place: { field: '--take' },
      advice: matchesSomething
        ? 'Name an object of the source, or a pattern with *.'
        : near.length > 0
          ? `Near names: ${near.join(', ')}.`
          : `What is read as ${structure.configuration.dialect} holds ${kindsIn(objects)}.`,
    },
  );
}

/** `40 rule, 12 address-group, …`, the commonest first. */
function kindsIn(objects: readonly ConfigObject[]): string {
  const counts = new Map<string, number>();
  for (const { kind } of objects) counts.set(kind, (counts.get(kind) ?? 0) + 1);
  if (counts.size === 0) return 'nothing that is read as an object';
  const sorted = [...counts].sort((a, b) => b[1] - a[1]);
  return sorted.map(([kind, count]) => `${kind} (${count})`).join(', ');
}

function innermost(selector: Selector): Selector {
  return selector.what === 'needs' || selector.what === 'uses' ? innermost(selector.of) : selector;
}
