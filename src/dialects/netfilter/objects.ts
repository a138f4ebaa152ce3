import type { ConfigObject, ObjectKind, OpaquePart, Reference, SourceFile, Span, Value } from '#core/config';
import { objectId } from '#core/config';
import { excerpt, Lines } from '../source/index.ts';
import { formatExpression, formatStatement } from './format.ts';
import type { Chain, Define, Expression, Mention, NamedSet, Place, Rule, Ruleset, Table } from './syntax.ts';

/** The objects of a ruleset: tables, chains, rules, sets, maps, defines and named objects. */
export function objectsOf(ruleset: Ruleset, files: readonly SourceFile[]): ConfigObject[] {
  return new Objects(files).all(ruleset);
}

/** What was not understood, statements inside rules included. */
export function opaqueParts(ruleset: Ruleset, files: readonly SourceFile[]): OpaquePart[] {
  const spans = new Spans(files);
  const parts: OpaquePart[] = ruleset.unread.map((part) => ({
    place: spans.of(part.place),
    ...excerpt(spans.text(part.place)),
    why: part.why,
    within:
      part.within === null
        ? null
        : part.within.chain === null
          ? objectId('table', part.within.table)
          : objectId('chain', `${part.within.table} ${part.within.chain}`),
    mayAffectTraffic: part.mayAffectTraffic,
  }));
  for (const table of ruleset.tables.values()) {
    for (const chain of table.chains.values()) {
      const list = listName(table, chain);
      for (let position = 0; position < chain.rules.length; position++) {
        const rule = chain.rules[position]!;
        for (const statement of rule.statements) {
          if (statement.kind !== 'opaque') continue;
          const within = objectId(kindOfRule(rule), list, position);
          parts.push({
            place: spans.of(rule.place),
            text: statement.text,
            why: statement.why,
            within,
            mayAffectTraffic: true,
          });
        }
      }
    }
  }
  return parts;
}

const listName = (table: Table, chain: Chain): string => `${table.family} ${table.name} ${chain.name}`;

const kindOfRule = (rule: Rule): ObjectKind =>
  rule.statements.some((statement) => statement.kind === 'nat') ? 'nat' : 'rule';

function textsOf({ statements, worked }: Rule): readonly string[] {
  worked.value ??= statements.map(formatStatement);
  return worked.value;
}

/** Places with line numbers. */
class Spans {
  private readonly lines: ReadonlyMap<string, Lines>;

  constructor(files: readonly SourceFile[]) {
    this.lines = new Map(files.map((file) => [file.name, new Lines(file)]));
  }

  of(place: Place): Span {
    const lines = this.lines.get(place.file);
    return lines === undefined ? { ...place, line: 1, endLine: 1 } : lines.span(place.start, place.end);
  }

  text(place: Place): string {
    return this.lines.get(place.file)?.text.slice(place.start, place.end) ?? '';
  }
}

class Objects {
  private readonly spans: Spans;
  private readonly defineIds = new Map<string, string>();

  constructor(files: readonly SourceFile[]) {
    this.spans = new Spans(files);
  }

  all(ruleset: Ruleset): ConfigObject[] {
    const objects: ConfigObject[] = ruleset.defines.map((define) => this.define(define));
    for (const table of ruleset.tables.values()) {
      const name = `${table.family} ${table.name}`;
      objects.push(this.object('table', name, name, table.place, { dormant: table.dormant }, table.comment));
      for (const set of table.sets.values()) objects.push(this.set(table, set));
      for (const object of table.objects.values()) {
        const title = `${name} ${object.what} ${object.name}`;
        objects.push(
          this.object('setting', title, `table ${name}`, object.place, { text: object.text }, null),
        );
      }
      for (const chain of table.chains.values()) {
        objects.push(this.chain(table, chain));
        this.rules(table, chain, objects);
      }
    }
    return objects;
  }

  private object(
    kind: ObjectKind,
    name: string,
    section: string,
    place: Place,
    value: Value,
    comment: string | null,
  ): ConfigObject {
    return {
      id: objectId(kind, name),
      kind,
      name,
      section,
      place: this.spans.of(place),
      value,
      order: null,
      comment,
      references: [],
    };
  }

  private define(define: Define): ConfigObject {
    const { kind, elements } = readDefine(define);
    const made = this.object(kind, `$${define.name}`, 'definitions', define.place, elements, null);
    // A name may be defined anew further down; mentions are taken to mean the first.
    if (!this.defineIds.has(define.name)) this.defineIds.set(define.name, made.id);
    return { ...made, references: this.references(null, define.mentions, define.place.file) };
  }

  private set(table: Table, set: NamedSet): ConfigObject {
    const name = `${table.family} ${table.name} ${set.name}`;
    const value: Value = {
      type: set.type,
      data: set.dataType,
      flags: [...set.flags].sort(),
      ...(set.settings.length === 0 ? {} : { settings: [...set.settings].sort() }),
      elements: set.elements.map(formatExpression).sort(),
    };
    const made = this.object(
      kindOfSet(set),
      name,
      `table ${table.family} ${table.name}`,
      set.place,
      value,
      set.comment,
    );
    return { ...made, references: this.referencesIn(table, set.mentions, set.place, set.dataType) };
  }

  private chain(table: Table, chain: Chain): ConfigObject {
    const { hook } = chain;
    const value: Value =
      hook === null
        ? {}
        : {
            type: hook.type,
            hook: hook.hook,
            priority: hook.priority,
            devices: [...hook.devices].sort(),
            policy: chain.policy,
          };
    const section = `table ${table.family} ${table.name}`;
    return this.object('chain', listName(table, chain), section, chain.place, value, chain.comment);
  }

  private rules(table: Table, chain: Chain, objects: ConfigObject[]): void {
    const list = listName(table, chain);
    const section = `chain ${list}`;
    for (const [position, rule] of chain.rules.entries()) {
      const kind = kindOfRule(rule);
      objects.push({
        id: objectId(kind, list, position),
        kind,
        name: rule.comment ?? `${list} rule ${position + 1}`,
        section,
        place: this.spans.of(rule.place),
        value: textsOf(rule),
        order: { list, position },
        comment: rule.comment,
        references: this.referencesIn(table, rule.mentions, rule.place, null),
      });
    }
  }

  private defineId(name: string): string {
    return this.defineIds.get(name) ?? objectId('setting', `$${name}`);
  }

  /**
   * With the named objects that a text mentions in quotes, as `counter name ip saddr map { … : "harbour" }` does.
   * Which kind of object is meant stands in the type of the map's data, or else (null) in the text itself.
   */
  private referencesIn(
    table: Table,
    mentions: readonly Mention[],
    place: Place,
    type: string | null,
  ): readonly Reference[] {
    const known = this.references(table, mentions, place.file);
    if (table.objects.size === 0) return known;
    const what = type ?? this.spans.text(place);
    const named = [...table.objects.values()];
    const found: Reference[] = [];
    for (const match of this.spans.text(place).matchAll(QUOTED_OBJECT)) {
      const name = match[1]!;
      const start = place.start + match.index + match[0].length - name.length - 1;
      const fitting = named.filter((object) => object.name === name);
      const sure = fitting.filter((object) => what.includes(object.what));
      for (const object of sure.length === 0 ? fitting : sure) {
        const to = objectId('setting', `${table.family} ${table.name} ${object.what} ${name}`);
        const span = this.spans.of({ file: place.file, start, end: start + name.length });
        if (!known.some((one) => one.to === to && one.place.start <= start && one.place.end > start))
          found.push({ to, text: name, place: span });
      }
    }
    return [...known, ...found];
  }

  private references(table: Table | null, mentions: readonly Mention[], file: string): readonly Reference[] {
    if (mentions.length === 0) return NO_REFERENCES;
    return mentions.map((mention) => ({
      to:
        table === null || mention.kind === 'define' ? this.defineId(mention.name) : targetOf(table, mention),
      text: SIGNS[mention.kind] + mention.name,
      place: this.spans.of({ file, start: mention.start, end: mention.end }),
    }));
  }
}

/** A quoted name where a named object may stand: a value of a map, or behind `set` or `name`. */
const QUOTED_OBJECT = /(?::\s*|\b(?:set|name)\s+)"([^"\n]+)"/g;

/** A define with one value is one thing, with several a group. */
function readDefine({ value }: Define): { kind: ObjectKind; elements: string[] } {
  const text = typeof value === 'string' ? value : (singleText(value) ?? null);
  const elements = text === null ? elementTexts(value) : [text];
  return { kind: kindOfDefine(elements, text !== null), elements };
}

const NO_REFERENCES: readonly Reference[] = [];

const SIGNS: Readonly<Record<Mention['kind'], string>> = { set: '@', chain: '', define: '$', object: '' };

function targetOf(table: Table, { kind, name }: Mention): string {
  const prefix = `${table.family} ${table.name}`;
  if (kind === 'chain') return objectId('chain', `${prefix} ${name}`);
  if (kind === 'set') {
    const set = table.sets.get(name);
    return objectId(set === undefined ? 'address-group' : kindOfSet(set), `${prefix} ${name}`);
  }
  const object = [...table.objects.values()].find((candidate) => candidate.name === name);
  return objectId('setting', `${prefix} ${object?.what ?? 'object'} ${name}`);
}

/** Sets of addresses and of ports have the trade's names; lookups over other or several fields are maps. */
function kindOfSet(set: NamedSet): ObjectKind {
  if (set.map || set.type.includes(' . ')) return 'map';
  if (/addr/.test(set.type)) return 'address-group';
  if (/service|port|proto/.test(set.type)) return 'service-group';
  return /if/.test(set.type) ? 'zone' : 'map';
}

const singleText = (value: Expression): string | undefined =>
  typeof value !== 'string' && value.kind !== 'set' && value.kind !== 'list'
    ? formatExpression(value)
    : undefined;

function elementTexts(value: Expression): string[] {
  if (typeof value === 'string') return [value];
  const items = value.kind === 'set' ? value.elements : value.kind === 'list' ? value.items : [value];
  return items.map(formatExpression).sort();
}

function kindOfDefine(elements: readonly string[], single: boolean): ObjectKind {
  const all = (pattern: RegExp): boolean =>
    elements.length > 0 && elements.every((text) => pattern.test(text));
  if (all(/^(\d+\.\d+\.\d+\.\d+|[0-9a-fA-F]*:[0-9a-fA-F:.]*)([/-].*)?$/))
    return single ? 'address' : 'address-group';
  if (all(/^\d+(-\d+)?$/)) return single ? 'service' : 'service-group';
  return 'setting';
}
