import { spawnSync } from 'node:child_process';
import { type AddressSet, type Family, type NumberSet, pairsOf } from '#core/address';
import type { Match, Policy, Stage } from '#core/traffic';

/** Z3 asked the same question as the engine: is any packet treated differently? */
export interface Prover {
  /** `sat` (different), `unsat` (equal), or `unknown` after the time limit; and how long it took, in milliseconds. */
  different(before: Policy, after: Policy): Promise<Answer>;
}

const STATES = ['new', 'established', 'related', 'invalid', 'untracked'];

/** The answer, and how long it took beside starting the prover. */
export interface Answer {
  readonly answer: 'sat' | 'unsat' | 'unknown';
  readonly ms: number;
}

/**
 * Z3 in a process of its own for each question: of ten thousand rules it needs minutes to read the question alone, and
 * can only be stopped from outside. A question that was stopped counts as unknown after the limit.
 */
export function openProver(limitMs: number): Prover {
  return {
    async different(before, after) {
      const scripts = before.pipelines.map(({ family }) => question(before, after, family));
      const { stdout, stderr, error } = spawnSync(
        process.execPath,
        ['--import', 'tsx', 'bench/traffic/prove.ts'],
        {
          input: JSON.stringify(scripts),
          encoding: 'utf8',
          // Starting it takes time too, which is not counted where it answers.
          timeout: limitMs + 10_000,
          maxBuffer: 2 ** 30,
        },
      );
      if (stdout.startsWith('{')) return JSON.parse(stdout) as Answer;
      const timedOut = error !== undefined && 'code' in error && error.code === 'ETIMEDOUT';
      if (!timedOut) throw new Error(`Z3 gave no answer: ${stderr}`, { cause: error });
      return { answer: 'unknown', ms: limitMs };
    },
  };
}

/** SMT-LIB text that is satisfiable if and only if a forwarded packet of the family is treated differently. */
function question(before: Policy, after: Policy, family: Family): string {
  const bits = family === 4 ? 32 : 128;
  return [
    '(declare-const iif Int) (declare-const oif Int) (declare-const state Int)',
    `(assert (and (<= 0 state) (< state ${STATES.length})))`,
    `(declare-const src (_ BitVec ${bits})) (declare-const dst (_ BitVec ${bits}))`,
    '(declare-const proto (_ BitVec 8)) (declare-const sport (_ BitVec 16)) (declare-const dport (_ BitVec 16))',
    sideFormula(before, family, 'x', bits),
    sideFormula(after, family, 'y', bits),
    '(assert (or (not (= x_pass y_pass)) (and x_pass (or (not (= x_dst y_dst)) (not (= x_masked y_masked))))))',
  ].join('\n');
}

function sideFormula(policy: Policy, family: Family, name: string, bits: number): string {
  const stages = policy.pipelines.find((p) => p.family === family)?.stages ?? [];
  const stage = (kind: Stage['kind'], test: (s: Stage) => boolean) =>
    stages.find((s) => s.kind === kind && test(s))?.rules ?? [];
  const dnat = stage('nat', (s) => s.name === 'prerouting');
  const masked = stage('nat', (s) => s.name === 'postrouting');
  const chain = (
    rules: Stage['rules'],
    sort: string,
    label: string,
    destination: string,
    then: (rule: Stage['rules'][number]) => string,
    otherwise: string,
  ) => {
    const lines = [`(define-fun ${name}_${label}${rules.length} () ${sort} ${otherwise})`];
    for (let i = rules.length - 1; i >= 0; i--) {
      const match = matchFormula(rules[i]!.match, destination);
      lines.push(
        `(define-fun ${name}_${label}${i} () ${sort} (ite ${match} ${then(rules[i]!)} ${name}_${label}${i + 1}))`,
      );
    }
    return lines.join('\n');
  };
  const target = (rule: Stage['rules'][number]) =>
    'rewrite' in rule.action ? hex(rule.action.rewrite.addresses!.ranges[0]!.low) : 'dst';
  const passes = (rule: Stage['rules'][number]) =>
    'verdict' in rule.action && rule.action.verdict === 'accept' ? 'true' : 'false';
  return [
    chain(dnat, `(_ BitVec ${bits})`, 'n', 'dst', target, 'dst'),
    `(define-fun ${name}_dst () (_ BitVec ${bits}) ${name}_n0)`,
    chain(
      stage('filter', () => true),
      'Bool',
      'f',
      `${name}_dst`,
      passes,
      'true',
    ),
    `(define-fun ${name}_pass () Bool ${name}_f0)`,
    chain(masked, 'Bool', 'm', `${name}_dst`, () => 'true', 'false'),
    `(define-fun ${name}_masked () Bool ${name}_m0)`,
  ].join('\n');
}

function matchFormula(match: Match, destination: string): string {
  const parts: string[] = [];
  const names = (set: readonly string[], variable: string) =>
    either(set.map((n) => `(= ${variable} ${nameNumber(n)})`));
  if (match.inInterface !== undefined) parts.push(names(match.inInterface.names, 'iif'));
  if (match.outInterface !== undefined) parts.push(names(match.outInterface.names, 'oif'));
  if (match.source !== undefined) parts.push(addresses(match.source, 'src'));
  if (match.destination !== undefined) parts.push(addresses(match.destination, destination));
  if (match.protocol !== undefined) parts.push(within(match.protocol, 'proto', 8));
  // Generated rules limit ports for TCP and UDP; where they leave the protocol open, those with ports are meant.
  if (match.protocol === undefined && match.destinationPort !== undefined) {
    parts.push(either([6, 17, 33, 132, 136].map((p) => `(= proto (_ bv${p} 8))`)));
  }
  if (match.sourcePort !== undefined) parts.push(within(match.sourcePort, 'sport', 16));
  if (match.destinationPort !== undefined) parts.push(within(match.destinationPort, 'dport', 16));
  if (match.states !== undefined)
    parts.push(either(match.states.map((s) => `(= state ${STATES.indexOf(s)})`)));
  return parts.length === 0 ? 'true' : `(and ${parts.join(' ')})`;
}

const nameNumbers = new Map<string, number>();
function nameNumber(name: string): number {
  const number = nameNumbers.get(name) ?? nameNumbers.size + 1;
  nameNumbers.set(name, number);
  return number;
}

function hex(words: readonly number[]): string {
  return `#x${words.map((w) => w.toString(16).padStart(8, '0')).join('')}`;
}

function addresses(set: AddressSet, variable: string): string {
  return either(
    set.ranges.map(
      ({ low, high }) => `(and (bvule ${hex(low)} ${variable}) (bvule ${variable} ${hex(high)}))`,
    ),
  );
}

function within(set: NumberSet, variable: string, bits: number): string {
  return either(
    pairsOf(set).map(
      ([low, high]) =>
        `(and (bvule (_ bv${low} ${bits}) ${variable}) (bvule ${variable} (_ bv${high} ${bits})))`,
    ),
  );
}

function either(parts: readonly string[]): string {
  return parts.length === 0 ? 'false' : `(or ${parts.join(' ')})`;
}
