/**
 * What the Linux packet filter does, whatever language its rules are written in: tables, chains, hooks, sets,
 * statements, and how they become a policy. Both Linux dialects read into this. It must never read text itself.
 */

export { compilePolicy } from './compile/policy.ts';
export { formatExpression } from './format.ts';
export { objectsOf, opaqueParts } from './objects.ts';
export { hookPriority } from './priority.ts';
export { newChain, newRuleset, newSet, nothingWorked, tableOf } from './ruleset.ts';
export type * from './syntax.ts';
