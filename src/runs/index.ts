/**
 * Runs: one procedure carried out on one device, step by step, with a journal that survives any kill.
 * It must never reach a device but through a Link, nor remember anything but in the store and the archive.
 */

export { compareTraffic, type TrafficAnswer } from './compare-traffic.ts';
export { type Concern, concernsOf } from './concerns.ts';
export { type Plan, planRun } from './dry-run.ts';
export type { RunEnvironment } from './environment.ts';
export type { Decision, Listener, RunEvent } from './events.ts';
export type { Accepted, ChosenRelease, Facts, Goal, Look } from './facts.ts';
export {
  type CarryOutOptions,
  carryOut,
  type GroupResult,
  type PlannedTarget,
  type TargetResult,
} from './graft/carry-out.ts';
export { commonest, type Drift, driftOf, formsIn } from './graft/drift.ts';
export { type FillIns, fillInsFromWords, joinFillIns, readFillIns } from './graft/fill-in-file.ts';
export type { GraftTarget, TargetProblem } from './graft/graft-target.ts';
export { neverBegun } from './graft/never-begun.ts';
export { type OntoDevices, type PlannedDevice, planForDevice } from './graft/plan-devices.ts';
export { type GraftWish, type PreparedGraft, prepareGraft } from './graft/prepared-graft.ts';
export type { PromiseAnswer } from './graft/promises.ts';
export type { Restart } from './graft/restart.ts';
export { planTarget, planWhole, type TargetPlan } from './graft/target-plan.ts';
export { undoGraft } from './graft/undo.ts';
export { warningsFor } from './graft/warnings-for.ts';
export { type Languages, type Reading, readingIn } from './languages.ts';
export { firstSight } from './look.ts';
export { type ProcedureName, procedures } from './procedures/index.ts';
export { readPromises } from './promises/promises-file.ts';
export { endsOfTheWay, wayIn } from './promises/way-in.ts';
export { configurationChanges, type RunReport, renderReport, visible } from './report/index.ts';
export { goRound, type RoundResult, roundDevices } from './round.ts';
export { type Finished, resumeRun, startRun, type Word } from './runner.ts';
export { lateDeliveries, ROUND, roundDue } from './schedule.ts';
