import type { Match } from '#core/traffic';
import type { Rule, Statement, Ways } from '../syntax.ts';
import { plainLimit } from './comparison.ts';
import type { Context } from './context.ts';
import { narrow, type Writable } from './merge.ts';

/**
 * What a rule does that only compares fields of the packet with values written in it and ends in a verdict: the same in
 * every ruleset that holds this text. Null for any other rule. Worked out once for each kind of place.
 */
export function plainWays(context: Context, rule: Rule): Ways | null {
  const { ways } = rule.worked;
  const kind =
    Number(context.family === 6) + 2 * Number(context.beforeRouting) + 4 * Number(context.beforeTracking);
  const known = ways[kind];
  if (known !== undefined) return known;
  const found = worked(context, rule.statements);
  ways[kind] = found;
  return found;
}

function worked(context: Context, statements: readonly Statement[]): Ways | null {
  if (!statements.every(isPlain)) return null;
  const { notes } = context;
  const { count, usesState: outer } = notes;
  notes.usesState = false;
  const found = waysOf(context, statements);
  const usesState = notes.usesState;
  notes.usesState = outer;
  // What was noted is noted for each policy anew.
  return notes.count > count || found === null ? null : { ...found, usesState };
}

const NOTHING = { matches: [], verdict: null } as const;

function waysOf(context: Context, statements: readonly Statement[]): Omit<Ways, 'usesState'> | null {
  const match: Writable<Match> = {};
  for (const statement of statements) {
    if (statement.kind === 'match') {
      const limit = plainLimit(context, statement);
      if (limit === null) return null;
      const both = limit === 'never' ? 'never' : narrow(match, limit);
      if (both === null) return null;
      if (both === 'never') return NOTHING;
    } else if (statement.kind === 'verdict')
      return { matches: [match], verdict: statement.verdict as 'accept' | 'drop' | 'return' };
  }
  return NOTHING;
}

function isPlain(statement: Statement): boolean {
  switch (statement.kind) {
    case 'match':
      return typeof statement.right === 'string' || statement.right.kind !== 'name';
    case 'verdict':
      return statement.verdict === 'accept' || statement.verdict === 'drop' || statement.verdict === 'return';
    default:
      return statement.kind === 'inert';
  }
}
