import type { ConfigObject, Edit, GraftWriter, SourceFile, WriteJob, WriteStep } from '#core/config';
import { cannotWrite, indentAt, lineEnd, lineStart, newlineOf } from '../../carry/index.ts';
import { Lines } from '../../source/index.ts';
import { isJsonRuleset } from '../json/index.ts';
import { type Block, blockFrom, tableBlocks } from './blocks.ts';
import { beforeRule, behindRule, type RulePlace } from './rule-places.ts';
import { elementsOf, SourceTexts } from './texts.ts';

type Add = Extract<WriteStep, { do: 'add' }>;
type Insert = Extract<WriteStep, { do: 'insert' }>;
type Replace = Extract<WriteStep, { do: 'replace' }>;

interface TableBlock extends Block {
  readonly file: SourceFile;
}

const SETS: ReadonlySet<ConfigObject['kind']> = new Set(['address-group', 'service-group', 'zone', 'map']);

export const nftablesWriter: GraftWriter = { write: (job) => new Writer(job).write() };

class Writer {
  readonly #job: WriteJob;
  readonly #texts: SourceTexts;
  readonly #edits: Edit[] = [];
  readonly #lines = new Map<string, Lines>();
  readonly #files: readonly SourceFile[];
  /** Text for blocks at the end of the file, by table. */
  readonly #late = new Map<string, string[]>();
  /** Rules for chains that this graft adds, by list. */
  readonly #early = new Map<string, string[]>();

  constructor(job: WriteJob) {
    this.#job = job;
    this.#texts = new SourceTexts(job);
    this.#files = job.target.configuration.files;
    const json = this.#files.find(isJsonRuleset);
    if (json !== undefined && job.steps.length > 0) {
      throw cannotWrite(
        'What nft prints as JSON is not written: it does not always load back.',
        new Lines(json).span(0, 1),
        'Name a target that keeps its ruleset as text.',
      );
    }
  }

  write(): readonly Edit[] {
    const { steps } = this.#job;
    for (const step of steps) if (step.do === 'insert') this.#insert(step);
    for (const step of steps) if (step.do === 'replace') this.#replace(step);
    for (const step of steps) if (step.do === 'add') this.#add(step);
    const file = this.#files.at(-1);
    if (file !== undefined) for (const [table, items] of this.#late) this.#appendTable(file, table, items);
    return this.#edits;
  }

  #add({ object, name, whole }: Add): void {
    if (object.kind === 'table') {
      const { dormant } = object.value as { dormant: boolean };
      if (!this.#late.has(object.name)) this.#late.set(object.name, dormant ? ['flags dormant'] : []);
      return;
    }
    if (object.name.startsWith('$')) {
      this.#addDefine(this.#texts.define(object, name));
      return;
    }
    if (name.includes('{') || name.includes('}')) {
      throw cannotWrite(
        'A chain without a name is not carried.',
        object.place,
        'Give the chain a name first.',
      );
    }
    const table = object.name.split(' ').slice(0, 2).join(' ');
    this.#refuseNamesake(object, `${table} ${name}`);
    const found = this.#blockFor(object, table);
    const indent = found === null ? '\t' : this.#innerIndent(found.file, found.open);
    const isChain = object.kind === 'chain';
    const text = isChain
      ? this.#texts.chain(object, name, whole, indent, this.#early.get(object.name) ?? [])
      : this.#texts.item(object, name, indent);
    if (found === null) this.#late.set(table, [...(this.#late.get(table) ?? []), text]);
    else if (isChain) this.#beforeClosing(found.file, found.close, indent, text);
    else this.#amongSets(table, found, indent, text);
  }

  /** Sets and maps of whatever type share their names in a table, though they are objects of several kinds. */
  #refuseNamesake({ kind, place }: ConfigObject, name: string): void {
    if (!SETS.has(kind)) return;
    const namesake = this.#job.target.configuration.objects.find(
      (there) => there.name === name && SETS.has(there.kind),
    );
    if (namesake === undefined) return;
    throw cannotWrite(
      `The target has ${name} as ${namesake.kind}, ours is ${kind}: two of one name cannot stand in one table.`,
      place,
      'Give one of them another name first.',
    );
  }

  #addDefine(text: string): void {
    const { objects } = this.#job.target.configuration;
    const tables = objects.filter(({ kind }) => kind === 'table' || kind === 'chain');
    const first = tables.length === 0 ? undefined : tables.reduce((a, b) => (this.#isBefore(b, a) ? b : a));
    const file = this.#file(first?.place.file ?? this.#files[0]!.name);
    const limit = first?.place.start ?? file.text.length;
    const last = objects.filter(
      ({ name, place }) => name.startsWith('$') && place.file === file.name && place.end <= limit,
    );
    const behind = last.reduce((end, { place }) => Math.max(end, place.end), -1);
    if (behind >= 0) this.#edit(file, lineEnd(file.text, behind), `\n${text}`);
    else this.#edit(file, first === undefined ? limit : lineStart(file.text, limit), `${text}\n`);
  }

  #isBefore(a: ConfigObject, b: ConfigObject): boolean {
    const order = (object: ConfigObject) => this.#files.findIndex(({ name }) => name === object.place.file);
    return order(a) - order(b) < 0 || (order(a) === order(b) && a.place.start < b.place.start);
  }

  #insert({ object, index, name }: Insert): void {
    const list = object.order!.list;
    const there = this.#job.target.list(list);
    const [before, behind] = [there[index - 1], there[index]];
    const put = (rule: ConfigObject, place: RulePlace) => {
      const text = this.#texts.rule(object, place.indent, name);
      this.#edit(this.#file(rule.place.file), place.at, place.before + text + place.behind);
    };
    if (before !== undefined) put(before, behindRule(this.#file(before.place.file).text, before));
    else if (behind !== undefined) put(behind, beforeRule(this.#file(behind.place.file).text, behind));
    else this.#intoEmpty(object, list, name);
  }

  #intoEmpty(object: ConfigObject, list: string, name: string | null): void {
    const chain = this.#job.target.references.byId.get(`chain ${list}`);
    if (chain === undefined) {
      this.#early.set(list, [...(this.#early.get(list) ?? []), this.#texts.rule(object, '\t\t', name)]);
      return;
    }
    const file = this.#file(chain.place.file);
    const block = blockFrom(file.text, chain.place.start);
    if (block === null) {
      const text = `add rule ${list} ${this.#texts.rule(object, '', name)}\n`;
      this.#edit(file, file.text.length, file.text.endsWith('\n') ? text : `\n${text}`);
      return;
    }
    const outer = indentAt(file.text, chain.place.start);
    const indent = outer === '' ? '\t' : outer + (outer.includes('\t') ? '\t' : outer);
    const at = lineStart(file.text, block.close);
    const ownLine = file.text.slice(at, block.close).trim() === '' && at > block.open;
    const text = this.#texts.rule(object, indent, name);
    if (ownLine) this.#edit(file, at, `${indent}${text}\n`);
    else {
      const inside = file.text.slice(block.open + 1, block.close).trimEnd();
      this.#edit(file, block.close, inside === '' || inside.endsWith(';') ? ` ${text} ` : `; ${text} `);
    }
  }

  #replace({ object, there, whole }: Replace): void {
    const file = this.#file(there.place.file);
    const indent = indentAt(file.text, there.place.start);
    const own = object.name.slice(object.name.lastIndexOf(' ') + 1);
    const old = file.text.slice(there.place.start, there.place.end);
    if (there.order !== null) this.#put(there, this.#texts.rule(object, indent));
    else if (object.name.startsWith('$')) this.#put(there, this.#texts.define(object, own.slice(1)));
    else if (object.kind === 'table')
      throw cannotWrite('A table as a whole is not replaced.', there.place, 'Take its chains and sets.');
    else if (!/^(?:chain|set|map|counter|quota|limit|flowtable|secmark|synproxy|ct)\b/.test(old)) {
      throw cannotWrite(
        `${own} is not written in one piece here, so that it cannot be replaced.`,
        there.place,
        'Keep theirs, or rename ours.',
      );
    } else if (object.kind === 'chain') this.#put(there, this.#texts.chain(object, own, whole, indent, []));
    else this.#replaceSet(object, there, this.#texts.item(object, own, indent), old);
  }

  /** Where only elements differ, only they are written anew. */
  #replaceSet(object: ConfigObject, there: ConfigObject, text: string, old: string): void {
    const head = ({ value, comment }: ConfigObject) =>
      JSON.stringify([{ ...(value as object), elements: null }, comment]);
    const [ours, theirs] = [elementsOf(text), elementsOf(old)];
    if (head(object) !== head(there) || ours === null || theirs === null) {
      this.#put(there, text);
      return;
    }
    const lines = this.#linesOf(this.#file(there.place.file));
    const at = there.place.start;
    this.#edits.push({
      place: lines.span(at + theirs.start, at + theirs.end),
      text: text.slice(ours.start, ours.end),
    });
  }

  #put({ place }: ConfigObject, text: string): void {
    const newline = newlineOf(this.#file(place.file).text);
    this.#edits.push({ place, text: newline === '\n' ? text : text.replace(/\r?\n/g, newline) });
  }

  /**
   * The block of the table in which a new part of it goes. Blocks load one after the other: it stands in the first
   * one that is not before anything it needs.
   */
  #blockFor(object: ConfigObject, table: string): TableBlock | null {
    const blocks = this.#files.flatMap((file) =>
      tableBlocks(file.text, table).map((block): TableBlock => ({ file, ...block })),
    );
    return blocks[Math.max(0, this.#level(object, blocks, new Set()))] ?? null;
  }

  /** Number of the last block that holds something the object needs, -1 for none. */
  #level(object: ConfigObject, blocks: readonly TableBlock[], seen: Set<ConfigObject>): number {
    if (seen.has(object)) return -1;
    seen.add(object);
    const { source, target, steps } = this.#job;
    const inner = source.contentsOf(object).filter(({ order }) => order !== null);
    const levels = [object, ...inner].flatMap((one) => {
      const mentions = this.#job.mentionsIn(one);
      return one.references.map(({ to, text }) => {
        const added = steps.find((step) => step.do === 'add' && step.object.id === to);
        if (added !== undefined) return this.#level(added.object, blocks, seen);
        const now = mentions.find(({ from }) => from === text)?.to.replace(/^\W+/, '');
        const there =
          target.references.byId.get(to) ??
          target.configuration.objects.find(({ name }) => now !== undefined && name.endsWith(` ${now}`));
        if (there === undefined) return -1;
        const { file, start } = there.place;
        return blocks.findIndex((b) => b.file.name === file && b.open < start && start < b.close);
      });
    });
    return Math.max(-1, ...levels);
  }

  #innerIndent(file: SourceFile, open: number): string {
    const next = /\n([ \t]+)\S/.exec(file.text.slice(open, open + 2000));
    return next?.[1] ?? '\t';
  }

  /** Behind the last set or named object of the block, else at its beginning. */
  #amongSets(table: string, { file, open, close }: TableBlock, indent: string, text: string): void {
    const ends = this.#job.target.configuration.objects
      .filter(
        ({ name, kind, order, place }) =>
          order === null &&
          kind !== 'chain' &&
          kind !== 'table' &&
          name.startsWith(`${table} `) &&
          place.file === file.name &&
          place.start > open &&
          place.end < close,
      )
      .map(({ place }) => place.end);
    const from = ends.length === 0 ? open + 1 : Math.max(...ends);
    const eol = lineEnd(file.text, from);
    if (/^\s*;?\s*(?:#.*)?$/.test(file.text.slice(from, eol)) && eol < close)
      this.#edit(file, eol, ends.length === 0 ? `\n${indent}${text}\n` : `\n\n${indent}${text}`);
    else this.#edit(file, open + 1, `\n${indent}${text}\n${indent}`);
  }

  #beforeClosing(file: SourceFile, close: number, indent: string, text: string): void {
    const at = lineStart(file.text, close);
    const ownLine = file.text.slice(at, close).trim() === '';
    if (ownLine) this.#edit(file, at, `\n${indent}${text}\n`);
    else this.#edit(file, close, `\n${indent}${text}\n`);
  }

  #appendTable(file: SourceFile, table: string, items: readonly string[]): void {
    const body = items.map((item) => `\t${item}\n`).join('\n');
    const gap = file.text === '' || file.text.endsWith('\n') ? '' : '\n';
    this.#edit(file, file.text.length, `${gap}\ntable ${table} {\n${body}}\n`);
  }

  #edit(file: SourceFile, at: number, text: string): void {
    const newline = newlineOf(file.text);
    const written = newline === '\n' ? text : text.replace(/\r?\n/g, newline);
    this.#edits.push({ place: this.#linesOf(file).span(at, at), text: written });
  }

  #file(name: string): SourceFile {
    return this.#files.find((file) => file.name === name)!;
  }

  #linesOf(file: SourceFile): Lines {
    return this.#lines.get(file.name) ?? this.#lines.set(file.name, new Lines(file)).get(file.name)!;
  }
}
