/** Reads questions in SMT-LIB as a JSON list from standard input, and prints whether Z3 can satisfy any, and in what time. */
import { readFileSync, writeSync } from 'node:fs';
import { init } from 'z3-solver';
import type { Answer } from './solver.ts';

const scripts = JSON.parse(readFileSync(0, 'utf8')) as string[];
const { Z3, em } = await init();
const start = performance.now();
let answer: Answer['answer'] = 'unsat';
for (const script of scripts) {
  const context = Z3.mk_context(Z3.mk_config());
  const solver = Z3.mk_solver(context);
  Z3.solver_inc_ref(context, solver);
  Z3.solver_from_string(context, solver, script);
  const result = await Z3.solver_check(context, solver);
  if (result === 1) answer = 'sat';
  else if (result === 0 && answer === 'unsat') answer = 'unknown';
}
writeSync(1, JSON.stringify({ answer, ms: performance.now() - start } satisfies Answer));
em.PThread.terminateAllThreads();
