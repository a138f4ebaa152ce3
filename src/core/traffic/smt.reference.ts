import { init } from 'z3-solver';
import { type AddressSet, type Family, type NumberSet, pairsOf } from '#core/address';
import { inInterfaces } from './decide.ts';
import { icmpProtocol, PORT_PROTOCOLS } from './packet.ts';
import type { InterfaceSet, Match, Path, Policy } from './policy.ts';
import type { InterfaceTerm, TrafficRow } from './row.ts';

/**
 * Policies as formulas of the SMT-LIB standard, straight from the meaning of rules and with nothing of the engine, for Z3 to
 * judge. Filter stages only: translations have no part here.
 */
const STATES = ['new', 'established', 'related', 'invalid', 'untracked'];
/** Every name a small policy can tell apart, and one that it never mentions. */
const NAMES = ['lan0', 'lan1', 'lan2', 'lan17', 'wan0', 'dmz0'];

export interface Solver {
  /** `sat`, `unsat`, or `unknown` with the reason, for the assertions of an SMT-LIB script. */
  check(script: string): Promise<string>;
  close(): void;
}

export async function openSolver(): Promise<Solver> {
  const { Z3, em } = await init();
  return {
    async check(script) {
      const context = Z3.mk_context(Z3.mk_config());
      const solver = Z3.mk_solver(context);
      Z3.solver_inc_ref(context, solver);
      Z3.solver_from_string(context, solver, script);
      const answer = await Z3.solver_check(context, solver);
      const said =
        answer === 1
          ? 'sat'
          : answer === -1
            ? 'unsat'
            : `unknown (${Z3.solver_get_reason_unknown(context, solver)})`;
      Z3.solver_dec_ref(context, solver);
      Z3.del_context(context);
      return said;
    },
    close: () => em.PThread.terminateAllThreads(),
  };
}

/** Declarations of one packet's fields, within their ranges. */
export function packetFields(family: Family, conditions: readonly string[], names = NAMES): string {
  const bits = family === 4 ? 32 : 128;
  return `
    (declare-const iif Int) (declare-const oif Int)
    (assert (and (<= 0 iif) (< iif ${names.length}) (<= 0 oif) (< oif ${names.length})))
    (declare-const src (_ BitVec ${bits})) (declare-const dst (_ BitVec ${bits}))
    (declare-const proto (_ BitVec 8))
    (declare-const sport (_ BitVec 16)) (declare-const dport (_ BitVec 16)) (declare-const icmp (_ BitVec 16))
    (declare-const state Int) (assert (and (<= 0 state) (< state ${STATES.length})))
    ${conditions.map((_, i) => `(declare-const c${i} Bool)`).join(' ')}
    (define-fun ports () Bool (or ${PORT_PROTOCOLS.map((p) => `(= proto ${bitvector(p, 8)})`).join(' ')}))
    (define-fun isIcmp () Bool (= proto ${bitvector(icmpProtocol(family), 8)}))
  `;
}

/** What the policy does, as definitions that end in `name`: 0 accept, 1 drop, 2 reject. */
export function policyFormula(
  policy: Policy,
  path: Path,
  family: Family,
  name: string,
  conditions: readonly string[],
  names = NAMES,
): string {
  const stages = policy.pipelines.find((p) => p.path === path && p.family === family)?.stages ?? [];
  const lines: string[] = [`(define-fun ${name}_${stages.length}_0 () Int 0)`];
  for (let s = stages.length - 1; s >= 0; s--) {
    const { rules } = stages[s]!;
    const next = `${name}_${s + 1}_0`;
    lines.push(`(define-fun ${name}_${s}_${rules.length} () Int ${next})`);
    for (let r = rules.length - 1; r >= 0; r--) {
      const { match, action } = rules[r]!;
      if ('rewrite' in action) throw new Error('translations have no formula here');
      const then =
        'skip' in action
          ? `${name}_${s}_${action.skip}`
          : action.verdict === 'accept'
            ? next
            : action.verdict === 'drop'
              ? '1'
              : '2';
      lines.push(
        `(define-fun ${name}_${s}_${r} () Int (ite ${matchFormula(match, family, conditions, names)} ${then} ${name}_${s}_${r + 1}))`,
      );
    }
  }
  lines.push(`(define-fun ${name} () Int ${name}_0_0)`);
  return lines.join('\n');
}

export const VERDICT_CODES = { accept: 0, drop: 1, reject: 2 };

function matchFormula(
  match: Match,
  family: Family,
  conditions: readonly string[],
  names: readonly string[],
): string {
  const parts: string[] = ['true'];
  if (match.inInterface !== undefined) parts.push(interfaceFormula(match.inInterface, 'iif', names));
  if (match.outInterface !== undefined) parts.push(interfaceFormula(match.outInterface, 'oif', names));
  if (match.source !== undefined) parts.push(addressFormula(match.source, 'src', family));
  if (match.destination !== undefined) parts.push(addressFormula(match.destination, 'dst', family));
  if (match.protocol !== undefined) parts.push(numberFormula(match.protocol, 'proto', 8));
  if (match.sourcePort !== undefined) parts.push('ports', numberFormula(match.sourcePort, 'sport', 16));
  if (match.destinationPort !== undefined)
    parts.push('ports', numberFormula(match.destinationPort, 'dport', 16));
  if (match.icmp !== undefined) parts.push('isIcmp', numberFormula(match.icmp, 'icmp', 16));
  if (match.states !== undefined)
    parts.push(either(match.states.map((s) => `(= state ${STATES.indexOf(s)})`)));
  for (const { name, holds } of match.conditions ?? []) parts.push(condition(name, holds, conditions));
  return `(and ${parts.join(' ')})`;
}

/** The packets of a row. */
export function rowFormula(row: TrafficRow, conditions: readonly string[], names = NAMES): string {
  const parts: string[] = ['true'];
  if (row.inInterfaces !== undefined) parts.push(termsFormula(row.inInterfaces, 'iif', names));
  if (row.outInterfaces !== undefined) parts.push(termsFormula(row.outInterfaces, 'oif', names));
  if (row.sources !== undefined) parts.push(addressFormula(row.sources, 'src', row.family));
  if (row.destinations !== undefined) parts.push(addressFormula(row.destinations, 'dst', row.family));
  if (row.protocols !== undefined) parts.push(numberFormula(row.protocols, 'proto', 8));
  if (row.sourcePorts !== undefined) parts.push('ports', numberFormula(row.sourcePorts, 'sport', 16));
  if (row.destinationPorts !== undefined)
    parts.push('ports', numberFormula(row.destinationPorts, 'dport', 16));
  if (row.icmp !== undefined) parts.push('isIcmp', numberFormula(row.icmp, 'icmp', 16));
  if (row.states !== undefined) parts.push(either(row.states.map((s) => `(= state ${STATES.indexOf(s)})`)));
  for (const { name, holds } of row.conditions) parts.push(condition(name, holds, conditions));
  return `(and ${parts.join(' ')})`;
}

function condition(name: string, holds: boolean, conditions: readonly string[]): string {
  const variable = `c${conditions.indexOf(name)}`;
  return holds ? variable : `(not ${variable})`;
}

function interfaceFormula(set: InterfaceSet, variable: string, names: readonly string[]): string {
  return either(names.flatMap((name, i) => (inInterfaces(set, name) ? [`(= ${variable} ${i})`] : [])));
}

function termsFormula(terms: readonly InterfaceTerm[], variable: string, names: readonly string[]): string {
  const inside = (name: string) =>
    terms.some(({ text, single, but }) =>
      single
        ? text === name
        : name.startsWith(text) &&
          !but.some((b) => (b.endsWith('*') ? name.startsWith(b.slice(0, -1)) : b === name)),
    );
  return either(names.flatMap((name, i) => (inside(name) ? [`(= ${variable} ${i})`] : [])));
}

function addressFormula(set: AddressSet, variable: string, family: Family): string {
  if (set.family !== family) return 'false';
  const hex = (words: readonly number[]) => `#x${words.map((w) => w.toString(16).padStart(8, '0')).join('')}`;
  return either(
    set.ranges.map(
      ({ low, high }) => `(and (bvule ${hex(low)} ${variable}) (bvule ${variable} ${hex(high)}))`,
    ),
  );
}

function numberFormula(set: NumberSet, variable: string, bits: number): string {
  return either(
    pairsOf(set).map(
      ([low, high]) =>
        `(and (bvule ${bitvector(low, bits)} ${variable}) (bvule ${variable} ${bitvector(high, bits)}))`,
    ),
  );
}

function bitvector(value: number, bits: number): string {
  return `(_ bv${value} ${bits})`;
}

function either(parts: readonly string[]): string {
  return parts.length === 0 ? 'false' : `(or ${parts.join(' ')})`;
}
