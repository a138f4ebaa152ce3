/**
 * Grafts: chosen parts of one configuration carried into another, with all that they need and nothing else.
 * Pure; it must never know a configuration language (writers of #dialects make the edits), and never settle a
 * collision or an ambiguous place by itself.
 */
export { type Choice, type ChoiceBranch, choose, treeOf } from './choose.ts';
export { type Closure, closureOf, type Part } from './closure.ts';
export { type Decide, type Decision, decisionRule, readDecision } from './decisions.ts';
export { type FillIn, fillEdits, fillInsOf, occursIn, typeOfFill } from './fill-in.ts';
export { type Anchor, readAnchor } from './placement.ts';
export {
  type Carried,
  type Fate,
  type GraftOptions,
  type GraftPlan,
  type Problem,
  planGraft,
} from './plan.ts';
export { mismatchOf, type Prediction } from './predict.ts';
export { fits, readSelector, type Selector } from './selector.ts';
export { localName, type Structure, structureOf } from './structure.ts';
export type { GraftWriter, Mention, WriteJob, WriteStep } from './writer.ts';
