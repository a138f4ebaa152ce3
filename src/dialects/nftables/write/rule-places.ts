import type { ConfigObject } from '#core/config';
import { cannotWrite, indentAt, lineEnd, lineStart } from '../../carry/index.ts';

/** Where a rule is put, and what goes before and behind its text. */
export interface RulePlace {
  readonly at: number;
  readonly before: string;
  readonly behind: string;
  readonly indent: string;
}

/** Right behind a rule of the target, on a line of its own where the rule has one. */
export function behindRule(text: string, rule: ConfigObject): RulePlace {
  const { start, end } = rule.place;
  const indent = indentAt(text, start);
  const command = commandBefore(text, rule);
  const eol = lineEnd(text, end);
  const rest = text.slice(end, eol);
  if (/^\s*;?\s*(?:#.*)?$/.test(rest))
    return { at: eol, before: `\n${indent}${command}`, behind: '', indent };
  const semicolon = /^\s*;/.exec(rest);
  return semicolon === null
    ? { at: end, before: `; ${command}`, behind: '', indent }
    : { at: end + semicolon[0].length, before: ` ${command}`, behind: ';', indent };
}

/** Right before a rule of the target, and before comments on the lines above it. */
export function beforeRule(text: string, rule: ConfigObject): RulePlace {
  const { start } = rule.place;
  const indent = indentAt(text, start);
  const command = commandBefore(text, rule);
  let at = lineStart(text, start);
  if (command === '' && text.slice(at, start).trim() !== '')
    return { at: start, before: '', behind: '; ', indent };
  for (let above = lineStart(text, at - 1); at > 0; above = lineStart(text, at - 1)) {
    if (!/^\s*#(?!!)/.test(text.slice(above, at))) break;
    at = above;
  }
  return { at, before: indent + command, behind: '\n', indent };
}

/** The words before a rule that stands in a command of its own, `add rule inet filter forward `; else nothing. */
function commandBefore(text: string, { place }: ConfigObject): string {
  const head = text.slice(lineStart(text, place.start), place.start).trimStart();
  if (!/^(?:(?:add|insert|replace|create)\b|rule\b)/.test(head)) return '';
  if (/^(?:add[ \t]+)?rule\b(?!.*\b(?:index|handle|position)\b)/.test(head)) return head;
  throw cannotWrite(
    'A rule beside one that an insert or replace command puts in place would not come to stand there.',
    place,
    'Choose another anchor.',
  );
}
