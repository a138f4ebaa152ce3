import type { ConfigObject, Edit, GraftWriter, Mention, SourceFile, Span, WriteJob } from '#core/config';
import { cannotWrite, lineEnd, lineStart } from '../../carry/index.ts';
import { Lines } from '../../source/index.ts';

export const iptablesWriter: GraftWriter = { write: (job) => new Writer(job).write() };

const COUNTERS = /^\[\d+:\d+\]\s*/;

class Writer {
  readonly #job: WriteJob;
  readonly #edits: Edit[] = [];
  readonly #files: readonly SourceFile[];
  /** Chain heads and rules of tables that this graft adds. */
  readonly #late = new Map<string, { heads: string[]; rules: string[] }>();

  constructor(job: WriteJob) {
    this.#job = job;
    this.#files = job.target.configuration.files;
  }

  write(): readonly Edit[] {
    // Lines that come to stand at one offset are put there in the order of the steps.
    for (const step of this.#job.steps) {
      const { object } = step;
      if (step.do === 'insert') this.#insert(object, step.index, step.name);
      else if (step.do === 'replace') this.#replace(object, step.there, step.whole);
      else if (object.kind === 'table') this.#late.set(object.name, { heads: [], rules: [] });
      else this.#addChain(object, step.name, step.whole);
    }
    for (const [table, { heads, rules }] of this.#late) {
      const file = this.#fileOf(table);
      const lines = [`*${table.split(' ')[1]}`, ...heads, ...rules, 'COMMIT'];
      this.#insertAt(file, file.text.length, `${file.text.endsWith('\n') ? '' : '\n'}${lines.join('\n')}\n`);
    }
    return this.#edits;
  }

  #addChain(object: ConfigObject, name: string, whole: boolean): void {
    const table = tableOf(object);
    if (isBuiltIn(object) && name !== chainName(object)) {
      throw cannotWrite(
        `${chainName(object)} is built in: it has no other name.`,
        object.place,
        'Decide for it with keep or take, or take its rules.',
      );
    }
    const head = this.#headOf(object).replace(/^(:|-[NP]\s+)\S+/, (_, sign: string) => sign + name);
    const rules = whole ? this.#job.source.contentsOf(object).map((rule) => this.#rule(rule, name)) : [];
    const late = this.#late.get(table);
    if (late !== undefined) {
      late.heads.push(head);
      late.rules.push(...rules);
      return;
    }
    const chains = this.#job.target.configuration.objects.filter(
      (chain) => chain.kind === 'chain' && tableOf(chain) === table,
    );
    const last = chains.reduce<ConfigObject | null>(
      (a, b) => (a === null || b.place.start > a.place.start ? b : a),
      null,
    );
    const file = this.#fileOf(table);
    const at = last === null ? this.#headLine(file, table) : lineEnd(file.text, last.place.start);
    this.#insertAt(file, at, `\n${head}`);
    if (rules.length > 0) this.#insertAt(file, this.#commit(file, table), `${rules.join('\n')}\n`);
  }

  #insert(object: ConfigObject, index: number, name: string | null): void {
    const there = this.#job.target.list(object.order!.list);
    const table = tableOf(object);
    const late = this.#late.get(table);
    const text = this.#rule(object, chainOf(object), name);
    if (late !== undefined) {
      late.rules.push(text);
      return;
    }
    const file = this.#fileOf(table);
    const [before, behind] = [there[index - 1], there[index]];
    for (const rule of [before, behind]) {
      if (rule === undefined || /^\s*(?:\[\d+:\d+\]\s*)?-A\s/.test(this.#raw(rule, this.#files))) continue;
      throw cannotWrite(
        'A rule beside one that -I puts in place would not come to stand there.',
        rule.place,
        'Choose another anchor.',
      );
    }
    const counters = this.#countersLike(before ?? behind);
    if (before !== undefined)
      this.#insertAt(file, lineEnd(file.text, before.place.end), `\n${counters}${text}`);
    else if (behind !== undefined)
      this.#insertAt(file, lineStart(file.text, behind.place.start), `${counters}${text}\n`);
    else this.#insertAt(file, this.#commit(file, table), `${text}\n`);
  }

  #replace(object: ConfigObject, there: ConfigObject, whole: boolean): void {
    if (there.order !== null) {
      this.#edits.push({
        place: bare(there.place, this.#files),
        text: this.#countersLike(there) + this.#rule(object, chainOf(object)),
      });
      return;
    }
    if (there.kind !== 'chain')
      throw cannotWrite('A table as a whole is not replaced.', there.place, 'Take its chains.');
    this.#edits.push({ place: bare(there.place, this.#files), text: this.#headOf(object) });
    if (!whole) return;
    const file = this.#fileOf(tableOf(there));
    const theirs = this.#job.target.contentsOf(there);
    const rules = this.#job.source.contentsOf(object).map((rule) => this.#rule(rule, chainOf(rule)));
    const at =
      theirs[0] === undefined
        ? this.#commit(file, tableOf(there))
        : lineStart(file.text, theirs[0].place.start);
    this.#insertAt(file, at, rules.map((rule) => `${rule}\n`).join(''));
    for (const { place } of theirs) {
      const start = lineStart(file.text, place.start);
      const end = Math.min(file.text.length, lineEnd(file.text, place.start) + 1);
      this.#edits.push({ place: new Lines(file).span(start, end), text: '' });
    }
  }

  /** A rule line of the source without counters, in this chain, with mentions by their new names. */
  #rule(object: ConfigObject, chain: string, comment: string | null = null): string {
    let text = this.#raw(object, this.#job.source.configuration.files).trim().replace(COUNTERS, '');
    text = text.replace(/^-[AI]\s+\S+(?:\s+\d+(?=\s))?/, () => `-A ${chain}`);
    for (const mention of this.#job.mentionsIn(object)) text = withTarget(text, mention);
    if (comment !== null && object.comment !== null && comment !== object.comment)
      text = text.replace(
        /--comment\s+(?:"(?:[^"\\]|\\.)*"|\S+)/,
        () => `--comment ${JSON.stringify(comment)}`,
      );
    return text;
  }

  #headOf(object: ConfigObject): string {
    const text = this.#raw(object, this.#job.source.configuration.files).trim();
    if (/^(?::|-[NP]\s)/.test(text)) return text.replace(/\[\d+:\d+\]$/, '[0:0]');
    return `:${chainName(object)} - [0:0]`;
  }

  #countersLike(rule: ConfigObject | undefined): string {
    return rule !== undefined && COUNTERS.test(this.#raw(rule, this.#files).trim()) ? '[0:0] ' : '';
  }

  #raw({ place }: ConfigObject, files: readonly SourceFile[]): string {
    return files.find(({ name }) => name === place.file)?.text.slice(place.start, place.end) ?? '';
  }

  /** The file that holds a table; for a new one, a file of the same family. */
  #fileOf(table: string): SourceFile {
    const { objects } = this.#job.target.configuration;
    const family = table.split(' ')[0];
    const own =
      objects.find((object) => object.kind === 'table' && object.name === table) ??
      objects.find((object) => object.kind === 'table' && object.name.split(' ')[0] === family);
    const file = this.#files.find(({ name }) => name === own?.place.file);
    if (file !== undefined) return file;
    const place = this.#job.steps[0]!.object.place;
    throw cannotWrite(
      `The target has no file for the ${family} family.`,
      place,
      'Take parts of the family it has.',
    );
  }

  #headLine(file: SourceFile, table: string): number {
    const own = this.#job.target.references.byId.get(`table ${table}`)!;
    return lineEnd(file.text, own.place.start);
  }

  /** The line that ends a table. */
  #commit(file: SourceFile, table: string): number {
    const from = this.#headLine(file, table);
    const found = /^COMMIT[ \t]*\r?$/m.exec(file.text.slice(from));
    return found === null ? file.text.length : from + found.index;
  }

  #insertAt(file: SourceFile, at: number, text: string): void {
    this.#edits.push({ place: new Lines(file).span(at, at), text });
  }
}

/** `-j harbour` with the chain's new name; what stands in quotes, a comment, is left as it is. */
function withTarget(text: string, { from, to }: Mention): string {
  const pattern = /"(?:[^"\\]|\\.)*"|(\s(?:-[jg]|--jump|--goto)\s+)(\S+)/g;
  return text.replace(pattern, (whole, option: string | undefined, name: string) =>
    option !== undefined && name === from ? option + to : whole,
  );
}

/** Is it one of the chains that the packet filter itself enters? They have their names. */
function isBuiltIn({ value }: ConfigObject): boolean {
  return typeof value === 'object' && value !== null && 'hook' in value && value.hook !== null;
}

/** The stretch without blanks at its ends. */
function bare(place: Span, files: readonly SourceFile[]): Span {
  const text = files.find(({ name }) => name === place.file)?.text.slice(place.start, place.end) ?? '';
  const start = place.start + (text.length - text.trimStart().length);
  return { ...place, start, end: start + text.trim().length };
}

const tableOf = ({ name, order }: ConfigObject): string =>
  (order?.list ?? name).split(' ').slice(0, 2).join(' ');
const chainName = ({ name }: ConfigObject): string => name.split(' ')[2]!;
const chainOf = ({ order }: ConfigObject): string => order!.list.split(' ')[2]!;
