import { TuckpointError } from '#core/errors';
import type { Action, Match, Origin, Rule } from '#core/traffic';
import type { Test } from './comparison.ts';
import { bothMatches, narrow, type Writable } from './merge.ts';

/** A place among the rules of a stage, known once it is put down. */
export interface Label {
  at: number;
}

/** Until the label is put down. */
const UNKNOWN: Action = { skip: -1 };

type Target = Action | { readonly label: Label };

const MOST_RULES = 500_000;

/** Puts down the flat rules of one stage; jumps forward are labels until the end. */
export class Assembler {
  private readonly rules: Writable<Rule>[] = [];
  /** Which rules go on at a label. */
  private readonly jumps: { readonly rule: Writable<Rule>; readonly label: Label }[] = [];

  label(): Label {
    return { at: -1 };
  }

  place(label: Label): void {
    label.at = this.rules.length;
  }

  /** @throws TuckpointError `dialects/too-large` when inlined chains multiply beyond half a million rules. */
  put(match: Match, action: Target, origin: Origin): void {
    if (this.rules.length >= MOST_RULES) {
      throw new TuckpointError(
        'dialects/too-large',
        `Chains that call chains come to more than ${MOST_RULES} rules.`,
        {
          place: { file: origin.file, line: origin.line },
          advice: 'Look for chains that are called many times over, one from the other.',
        },
      );
    }
    if (!('label' in action)) this.rules.push({ match, action, origin });
    else {
      const rule = { match, action: UNKNOWN, origin };
      this.rules.push(rule);
      this.jumps.push({ rule, label: action.label });
    }
  }

  /**
   * The rules that carry out `action` for packets that meet all tests, and go on behind for all others.
   * Where the tests do not fit into one match, skips lead past.
   */
  when(tests: readonly Test[], action: Target, origin: Origin): void {
    const plan = planOf(tests);
    if (plan === null) return;
    const joined = joinedIn(plan);
    if (joined !== null) {
      for (const match of joined) this.put(match, action, origin);
      return;
    }
    const end = this.label();
    this.unless(plan.rest, end, origin);
    this.put(plan.match, action, origin);
    this.place(end);
  }

  /** Rules that lead packets to `otherwise` unless they meet all tests; nothing for tests that always hold. */
  guard(tests: readonly Test[], otherwise: Label, origin: Origin): 'never' | 'open' {
    const plan = planOf(tests);
    if (plan === null) return 'never';
    this.unless(plan.rest, otherwise, origin);
    if (Object.keys(plan.match).length > 0) {
      const inside = this.label();
      this.put(plan.match, { label: inside }, origin);
      this.put({}, { label: otherwise }, origin);
      this.place(inside);
    }
    return 'open';
  }

  private unless(rest: readonly Test[], otherwise: Label, origin: Origin): void {
    for (const test of rest) {
      if (test.negated) for (const box of test.boxes) this.put(box, { label: otherwise }, origin);
      else {
        const inside = this.label();
        for (const box of test.boxes) this.put(box, { label: inside }, origin);
        this.put({}, { label: otherwise }, origin);
        this.place(inside);
      }
    }
  }

  finish(): Rule[] {
    for (const { rule, label } of this.jumps) rule.action = { skip: label.at };
    return this.rules;
  }
}

/** Matches that together hold just the packets of a plan; null where that takes skips. */
function joinedIn({ match, rest }: Plan): Match[] | null {
  const [first] = rest;
  if (first === undefined) return [match];
  if (rest.length > 1 || first.negated) return null;
  const joined: Match[] = [];
  for (const box of first.boxes) {
    const both = bothMatches(match, box);
    if (both === null) return null;
    if (both !== 'never') joined.push(both);
  }
  return joined;
}

interface Plan {
  readonly match: Match;
  readonly rest: readonly Test[];
}

/** One match for all single boxes, and the tests that do not fit into it; null when nothing meets them. */
export function planOf(tests: readonly Test[]): Plan | null {
  const match: Writable<Match> = {};
  const rest: Test[] = [];
  for (const test of tests) {
    if (test.boxes.length === 0) {
      if (test.negated) continue;
      return null;
    }
    if (test.negated || test.boxes.length > 1) {
      rest.push(test);
      continue;
    }
    const merged = narrow(match, test.boxes[0]!);
    if (merged === 'never') return null;
    if (merged === null) rest.push(test);
  }
  return { match, rest };
}
