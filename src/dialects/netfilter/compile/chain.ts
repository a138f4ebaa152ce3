import { TuckpointError } from '#core/errors';
import type { Action, Match, Origin } from '#core/traffic';
import { formatExpression, formatStatement } from '../format.ts';
import type { Chain, Rule, Statement, Verdict, Ways } from '../syntax.ts';
import { type Assembler, type Label, planOf } from './assembler.ts';
import { NEVER, type Test, testsOf } from './comparison.ts';
import type { Context } from './context.ts';
import { branchesOf } from './lookup.ts';
import { plainWays } from './plain.ts';
import { rewritesOf } from './translate.ts';

/** How chains may nest: the kernel's jump stack (NFT_JUMP_STACK_SIZE). */
const DEEPEST = 16;

const DROP = { verdict: 'drop' } as const;

/** Puts the rules of a base chain and of all chains it calls into one flat list. */
export class ChainCompiler {
  private readonly context: Context;
  private readonly out: Assembler;
  /** What `accept` does: end the stage, or go on with the next chain of the same nat hook. */
  private readonly accept: Action | { readonly label: Label };
  private readonly originOf: (rule: Rule) => Origin;
  private readonly calls: string[] = [];

  constructor(
    context: Context,
    out: Assembler,
    accept: Action | { readonly label: Label },
    originOf: (rule: Rule) => Origin,
  ) {
    this.context = context;
    this.out = out;
    this.accept = accept;
    this.originOf = originOf;
  }

  /**
   * Puts down one chain; packets that return, or run off its end after a goto, go on at `end`.
   * @throws TuckpointError `dialects/jump-loop`, `dialects/too-deep`, with file and line.
   */
  chain(chain: Chain, end: Label): void {
    this.calls.push(chain.name);
    for (const rule of chain.rules) this.rule(rule, end);
    this.calls.pop();
  }

  private rule(rule: Rule, end: Label): void {
    const ways = plainWays(this.context, rule);
    if (ways !== null) {
      this.plain(ways, rule, end);
      return;
    }
    const origin = this.originOf(rule);
    const tests: Test[] = [];
    for (const statement of rule.statements) {
      if (this.isTest(statement, tests, origin)) {
        // Nothing of this family gets past this statement.
        if (tests.at(-1) === NEVER) return;
        continue;
      }
      if (this.act(statement, tests, origin, end)) return;
    }
  }

  private plain({ matches, verdict, usesState }: Ways, rule: Rule, end: Label): void {
    if (usesState) this.context.notes.usesState = true;
    if (verdict === null) return;
    const action = verdict === 'accept' ? this.accept : verdict === 'return' ? { label: end } : DROP;
    const origin = this.originOf(rule);
    for (const match of matches) this.out.put(match, action, origin);
  }

  /** Adds what the packet must meet for the rule to go on; false when the statement is not of that kind. */
  private isTest(statement: Statement, tests: Test[], origin: Origin): boolean {
    const { context } = this;
    switch (statement.kind) {
      case 'match':
        tests.push(...testsOf(context, statement));
        return true;
      case 'either': {
        const boxes = statement.of
          .flatMap((one) => (one.kind === 'match' ? testsOf(context, one) : []))
          .flatMap((test) => test.boxes);
        tests.push({ boxes, negated: false });
        return true;
      }
      case 'condition':
        tests.push(this.condition(statement, statement.text));
        return true;
      case 'opaque':
        this.unread(origin, statement.why, tests);
        tests.push(this.condition(statement, `not read: ${statement.text}`));
        return true;
      case 'inert':
      case 'update':
        return true;
      default:
        return false;
    }
  }

  private condition(statement: Statement, text: string): Test {
    const name = this.context.notes.own(statement, text);
    return { boxes: [{ conditions: [{ name, holds: true }] }], negated: false };
  }

  /** Carries out a statement. True when no later statement of the rule can matter. */
  private act(statement: Statement, tests: readonly Test[], origin: Origin, end: Label): boolean {
    const { context, out } = this;
    switch (statement.kind) {
      case 'verdict':
        return this.verdict(statement, tests, origin, end);
      case 'reject': {
        const limit = rejectLimit(context, statement.with);
        out.when([...tests, limit], { verdict: 'reject' }, origin);
        return true;
      }
      case 'vmap': {
        const branches = branchesOf(context, statement.key, statement.map);
        if (branches === null) {
          this.unread(origin, `what "${formatExpression(statement.map)}" holds is not certain`, tests);
          return true;
        }
        for (const branch of branches) this.verdict(branch.verdict, [...tests, ...branch.tests], origin, end);
        return true;
      }
      case 'nat':
        if (!context.natChain) {
          this.unread(origin, 'a translation outside a nat chain is not followed', tests);
          return true;
        }
        for (const way of rewritesOf(context, statement, origin)) {
          out.when([...tests, ...way.tests], { rewrite: way.rewrite }, origin);
        }
        return true;
      case 'notrack':
        this.changed('connection state', origin, tests);
        return false;
      case 'change':
        this.changed(statement.field, origin, tests);
        return false;
      case 'elsewhere':
        if (!statement.text.startsWith('queue')) {
          this.unread(origin, `what "${statement.text}" does is not followed`, tests);
          return false;
        }
        out.when(
          [...tests, this.condition(statement, `the program behind "${statement.text}" lets it pass`)],
          this.accept,
          origin,
        );
        out.when(tests, { verdict: 'drop' }, origin);
        return true;
      default:
        return false;
    }
  }

  /** True when the rule ends here for packets that meet the tests. */
  private verdict(verdict: Verdict, tests: readonly Test[], origin: Origin, end: Label): boolean {
    const { out } = this;
    switch (verdict.verdict) {
      case 'accept':
        out.when(tests, this.accept, origin);
        return true;
      case 'drop':
        out.when(tests, { verdict: 'drop' }, origin);
        return true;
      case 'return':
        out.when(tests, { label: end }, origin);
        return true;
      case 'continue':
        return false;
      case 'queue': {
        const name = `the program behind "queue" lets it pass (rule "${origin.text}")`;
        out.when(
          [...tests, { boxes: [{ conditions: [{ name, holds: true }] }], negated: false }],
          this.accept,
          origin,
        );
        out.when(tests, { verdict: 'drop' }, origin);
        return true;
      }
      case 'jump':
      case 'goto':
        this.call(verdict, tests, origin, end);
        return true;
    }
  }

  private call(verdict: Verdict, tests: readonly Test[], origin: Origin, end: Label): void {
    const { context, out } = this;
    const name = verdict.chain ?? '';
    const place = { file: origin.file, line: origin.line };
    const target = context.table.chains.get(name);
    if (target === undefined) {
      this.unread(origin, `the chain ${name} is not in this configuration`, tests);
      return;
    }
    if (this.calls.includes(name)) {
      const loop = [...this.calls.slice(this.calls.indexOf(name)), name].join(' -> ');
      throw new TuckpointError('dialects/jump-loop', `The chains call each other in a loop: ${loop}.`, {
        place,
        advice: 'Take out one of these jumps; the packet filter would refuse to load them.',
      });
    }
    if (this.calls.length >= DEEPEST) {
      throw new TuckpointError('dialects/too-deep', `Chains call chains more than ${DEEPEST} deep.`, {
        place,
        advice: 'The packet filter would refuse to load this.',
      });
    }
    const after = out.label();
    if (out.guard(tests, after, origin) === 'never') return;
    if (verdict.verdict === 'jump') this.chain(target, after);
    else {
      this.chain(target, end);
      out.put({}, { label: end }, origin);
    }
    out.place(after);
  }

  /** The most that packets in question can be limited to; undefined when no packet reaches this. */
  private reach(tests: readonly Test[]): Match | undefined {
    return planOf(tests)?.match;
  }

  private unread(origin: Origin, reason: string, tests: readonly Test[]): void {
    const match = this.reach(tests);
    if (match !== undefined) this.context.notes.unread(origin, reason, this.context, match);
  }

  private changed(field: string, origin: Origin, tests: readonly Test[]): void {
    const match = this.reach(tests);
    if (match !== undefined) this.context.notes.changed(field, origin, this.context, match);
  }
}

/** A reject of one kind is for packets it can answer: resets for TCP, ICMP for its own family. */
function rejectLimit(context: Context, kind: string): Test {
  if (kind === 'tcp reset') return { boxes: [{ protocol: [6, 6] }], negated: false };
  if (kind.startsWith('icmp ') && context.family !== 4) return NEVER;
  if (kind.startsWith('icmpv6 ') && context.family !== 6) return NEVER;
  return { boxes: [{}], negated: false };
}

/** The canonical text of a rule. */
export function ruleText(rule: Rule): string {
  return rule.statements.map(formatStatement).join(' ');
}
