import type { Match } from '#core/traffic';
import type { Rule, Statement, Ways } from '../syntax.ts';
import { plainLimit } from './comparison.ts';
import type { Context } from './context.ts';
import { narrow, type Writable } from './merge.ts';

/**
 * What a rule does that only compares fields of the packet with values written in it and ends in a verdict: the same in
 * every ruleset that holds this text. Null for any other rule. Worked out once for each kind of place.
 */
export function plainWays(context: Context, { statements, worked }: Rule): Ways | null {
  const kind = Number(context.beforeRouting) + 2 * Number(context.beforeTracking);
  if (worked.kind !== kind) {
    worked.kind = kind;
    worked[4] = undefined;
    worked[6] = undefined;
  }
  let ways = worked[context.family];
  if (ways === undefined) {
    ways = noted(context, statements);
    worked[context.family] = ways;
  }
  return ways;
}

/** With whether the state of connections was asked about, which each policy must hear of. */
function noted(context: Context, statements: readonly Statement[]): Ways | null {
  const { notes } = context;
  const before = notes.usesState;
  notes.usesState = false;
  const found = waysOf(context, statements);
  const { usesState } = notes;
  notes.usesState = before;
  return found !== null && usesState ? { ...found, usesState } : found;
}

const NOTHING: Ways = { matches: [], verdict: null, usesState: false };

function waysOf(context: Context, statements: readonly Statement[]): Ways | null {
  const match: Writable<Match> = {};
  for (const statement of statements) {
    if (statement.kind === 'match') {
      const limit = plainLimit(context, statement);
      const both = limit === null || limit === 'never' ? limit : narrow(match, limit);
      if (both === null) return null;
      if (both === 'never') return NOTHING;
    } else if (statement.kind === 'verdict') {
      const { verdict } = statement;
      const isPlain = verdict === 'accept' || verdict === 'drop' || verdict === 'return';
      return isPlain ? { matches: [match], verdict, usesState: false } : null;
    } else if (statement.kind !== 'inert') return null;
  }
  return NOTHING;
}
