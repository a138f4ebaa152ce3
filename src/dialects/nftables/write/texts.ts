import { type ConfigObject, localName, type WriteJob } from '#core/config';
import { cannotWrite, carriedText, indentAt, indented } from '../../carry/index.ts';
import { isJsonRuleset } from '../json/index.ts';
import { blockFrom } from './blocks.ts';

/** Text of source objects, as it must stand on the target. Lines after the first begin with `indent`. */
export class SourceTexts {
  readonly #job: WriteJob;
  readonly #texts = new Map<string, string>();

  constructor(job: WriteJob) {
    this.#job = job;
    for (const file of job.source.configuration.files)
      if (!isJsonRuleset(file)) this.#texts.set(file.name, file.text);
  }

  /** A rule in one statement, with another comment where it has to be. */
  rule(object: ConfigObject, indent: string, comment: string | null = object.comment): string {
    const text = this.#text(object);
    this.#refuseNameless(object, text);
    const named =
      object.comment === null || comment === object.comment || comment === null
        ? text
        : text.replace(`"${object.comment}"`, () => JSON.stringify(comment));
    return this.#laidOut(object, named, indent);
  }

  define(object: ConfigObject, name: string): string {
    return this.#text(object).replace(/^((?:re)?define[ \t]+)[^\s=]+/, (_, word: string) => word + name);
  }

  /** `set`, `map`, `counter` and the like, as a block or a line. */
  item(object: ConfigObject, name: string, indent: string): string {
    const old = localName(this.#job.source, object);
    const text = this.#text(object);
    const pattern =
      /^(?:(?:set|map|counter|quota|limit|flowtable|secmark|synproxy|ct[ \t]+\w+)[ \t]+)([^\s{]+)/;
    const head = pattern.exec(text);
    if (head === null || head[1] !== old) {
      throw cannotWrite(
        `How ${old} is written here cannot be carried.`,
        object.place,
        'Write it in a block of its table first.',
      );
    }
    const at = head[0].length - old.length;
    return this.#laidOut(object, text.slice(0, at) + name + text.slice(at + old.length), indent);
  }

  /** A chain's head (hook, policy, comment) and, where `whole`, its rules; `more`: further rules behind them. */
  chain(object: ConfigObject, name: string, whole: boolean, indent: string, more: readonly string[]): string {
    const unit = indent === '' ? '\t' : indent;
    const inner = indent + unit;
    const rules = whole ? this.#job.source.contentsOf(object).filter((rule) => rule.order !== null) : [];
    const block = this.#rawBlock(object, name, rules, indent);
    if (whole && more.length === 0 && block !== null) return block;
    const lines = [...this.#head(object), ...rules.map((rule) => this.rule(rule, inner)), ...more];
    return [`chain ${name} {`, ...lines.map((line) => inner + line), `${indent}}`].join('\n');
  }

  #rawBlock(
    object: ConfigObject,
    name: string,
    rules: readonly ConfigObject[],
    indent: string,
  ): string | null {
    const { place } = object;
    const inside = rules.every(
      ({ place: p }) => p.file === place.file && p.start > place.start && p.end <= place.end,
    );
    const head = /^chain[ \t]+[^\s{]+/.exec(this.#raw(object));
    if (!inside || head === null || !this.#raw(object).endsWith('}')) return null;
    for (const rule of rules) this.#refuseNameless(rule, this.#raw(rule));
    const mentions = rules.flatMap((rule) => this.#job.mentionsIn(rule));
    const text = carriedText(this.#job.source.configuration.files, place, mentions);
    return this.#laidOut(object, `chain ${name}${text.slice(head[0].length)}`, indent);
  }

  #refuseNameless({ place }: ConfigObject, text: string): void {
    if (!/\b(?:jump|goto)\s*\{/.test(text)) return;
    throw cannotWrite(
      'A rule that calls a chain without a name is not carried.',
      place,
      'Give the chain a name first.',
    );
  }

  /** The lines of a chain that are no rules. */
  #head(object: ConfigObject): string[] {
    const { type, hook, priority, devices, policy } = object.value as Record<string, unknown>;
    const comment = object.comment === null ? [] : [`comment ${JSON.stringify(object.comment)}`];
    if (type === undefined) return comment;
    const list = devices as readonly string[];
    const on = list.length === 0 ? '' : ` devices = { ${list.map((d) => JSON.stringify(d)).join(', ')} }`;
    const end = policy === null || policy === undefined ? '' : ` policy ${String(policy)};`;
    return [...comment, `type ${String(type)} hook ${String(hook)}${on} priority ${String(priority)};${end}`];
  }

  #raw({ place }: ConfigObject): string {
    const text = this.#texts.get(place.file);
    if (text === undefined) {
      throw cannotWrite(
        'What nft prints as JSON cannot be carried: it does not always load back.',
        place,
        'Take the graft from the text configuration.',
      );
    }
    return text.slice(place.start, place.end);
  }

  #text(object: ConfigObject): string {
    this.#raw(object);
    return carriedText(this.#job.source.configuration.files, object.place, this.#job.mentionsIn(object));
  }

  #laidOut({ place }: ConfigObject, text: string, indent: string): string {
    return indented(text, indentAt(this.#texts.get(place.file)!, place.start), indent);
  }
}

/** The inside of `elements = { … }` in the text of a set; null when it says none. */
export function elementsOf(text: string): { readonly start: number; readonly end: number } | null {
  const found = /(?:^|[\s;{])elements[ \t]*=[ \t]*\{/.exec(text);
  if (found === null) return null;
  const block = blockFrom(text, found.index + found[0].length - 1);
  return block === null ? null : { start: block.open + 1, end: block.close };
}
