import type { TypedConfiguration } from '#core/config';
import type { Rule, Ruleset } from '../netfilter/index.ts';
import type { Cursor } from './cursor.ts';
import { isJsonRuleset } from './json/index.ts';

/** Rules of an earlier reading, by their text, to be taken over where the same text is read again. */
export interface FormerRules {
  /** A rule of just the text that the statement ahead has, moved there; undefined when there is none left. */
  take(cursor: Cursor): Rule | undefined;
}

/**
 * The rules of a reading that read the same wherever they stand. Each is given out once: what counts or remembers is told
 * apart by its statement, so that two rules of one text must not share theirs.
 */
export function formerRules({ files, syntax }: TypedConfiguration): FormerRules {
  const scripts = files.filter((file) => !isJsonRuleset(file));
  const texts = new Map(scripts.map(({ name, text }) => [name, text]));
  const rules = new Map<string, Rule[]>();
  for (const { chains } of (syntax as Ruleset).tables.values()) {
    for (const chain of chains.values()) {
      for (const rule of chain.rules) {
        const text = texts.get(rule.place.file)?.slice(rule.place.start, rule.place.end);
        if (text === undefined || text.includes('$') || !rule.statements.every(standsAlone)) continue;
        const known = rules.get(text);
        if (known === undefined) rules.set(text, [rule]);
        else known.push(rule);
      }
    }
  }
  // The last first, so that each is taken from the end.
  for (const list of rules.values()) if (list.length > 1) list.reverse();
  return {
    take(cursor) {
      const start = cursor.start();
      const { at } = cursor;
      cursor.skipStatement();
      const place = cursor.placeFrom(start);
      const rule = rules.get(cursor.sliceOf(place))?.pop();
      if (rule === undefined) cursor.at = at;
      else return moved(rule, place, cursor.tokens.handles.get(cursor.at) ?? null);
      return undefined;
    },
  };
}

/**
 * Does a statement depend on nothing but its own text? One that was not understood names what comes behind it, and a
 * chain without a name is called by its place.
 */
function standsAlone(statement: Rule['statements'][number]): boolean {
  if (statement.kind === 'opaque') return false;
  return statement.kind !== 'verdict' || statement.chain?.startsWith('{') !== true;
}

function moved(rule: Rule, place: Rule['place'], handle: number | null): Rule {
  const by = place.start - rule.place.start;
  if (by === 0 && place.file === rule.place.file && handle === rule.handle) return rule;
  const mentions = rule.mentions.map((mention) => ({
    ...mention,
    start: mention.start + by,
    end: mention.end + by,
  }));
  return { ...rule, place, handle, mentions };
}
