import { z } from 'zod';

/**
 * A regular expression of a handbook. It is matched against one line of output at a time (without its line end),
 * or against one record where the step has `record`.
 */
export interface Pattern {
  /** As written in the handbook, for messages. */
  readonly source: string;
  readonly regex: RegExp;
  /** Names of its named groups, in order. */
  readonly groups: readonly string[];
}

/**
 * Compiles a pattern (ECMAScript syntax, flags `m` and `u`: `u` so that a mistyped escape is an error and not a letter).
 *
 * @throws SyntaxError where the pattern is not a regular expression.
 */
export function compilePattern(source: string): Pattern {
  const regex = new RegExp(source, 'mu');
  // Matching the empty alternative yields the group names even where nothing matches.
  const groups = Object.keys(new RegExp(`${source}|`, 'mu').exec('')?.groups ?? {});
  return { source, regex, groups };
}

/** Schema of a pattern; `need` lists groups that it must name. */
export function pattern(need: readonly string[] = []) {
  return z.string().transform((source, context): Pattern => {
    try {
      if (source === '') throw new SyntaxError('it is empty and would match anything');
      const compiled = compilePattern(source);
      for (const group of need) {
        if (compiled.groups.includes(group)) continue;
        context.addIssue({
          code: 'custom',
          message: `The pattern must name a group "${group}", as in (?<${group}>\\S+).`,
        });
      }
      return compiled;
    } catch (error) {
      context.addIssue({ code: 'custom', message: `This is not a regular expression: ${reason(error)}.` });
      return z.NEVER;
    }
  });
}

/** V8 writes `Invalid regular expression: /…/mu: Unterminated group`; the last part says it all. */
function reason(error: unknown): string {
  const message = error instanceof Error ? error.message : String(error);
  return message.replace(/^Invalid regular expression: \/.*\/[a-z]*: /su, '');
}

/** The value a match stands for: the group `value`, else the first group, else the whole match. */
export function matchedValue(match: RegExpExecArray): string {
  return (
    match.groups?.value ??
    (match.length > 1 ? (match.find((part, at) => at > 0 && part !== undefined) ?? '') : match[0])
  );
}
