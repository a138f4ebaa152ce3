import { configurationDigest } from '#archive';
import { type FillIn, fillInsOf, type GraftPlan } from '#core/config';
import { TuckpointError } from '#core/errors';
import {
  type Findings,
  type Naming,
  newFindings,
  type Policy,
  type TrafficDifference,
  trafficDifference,
} from '#core/traffic';
import {
  type CaptureComparison,
  type CapturePart,
  compareCaptures,
  encode,
  graftPart,
  namingOf,
  policyOfCapture,
  type ReadCapture,
  readCapture,
  withFillIns,
  withUnreadFiles,
} from '#dialects';
import type { NamedFile } from '#links/port';
import { changedNames } from '../compare-traffic.ts';
import type { GraftTarget, TargetProblem } from './graft-target.ts';
import type { PreparedGraft } from './prepared-graft.ts';
import { brokenProblems, checkAround, type PromiseAnswer } from './promises.ts';
import { type Restart, restartFor } from './restart.ts';

/** What a graft does to one device, worked out without reaching it. */
export interface TargetPlan {
  readonly device: string;
  /** `configurationDigest` of `before`: the plan holds for no other configuration. */
  readonly plannedOn: string;
  readonly before: readonly NamedFile[];
  /** The whole configuration afterwards; the same bytes as `before` where nothing is to be done or is not clear. */
  readonly after: readonly NamedFile[];
  /** The same as it was read, by language. */
  readonly parts: readonly CapturePart[];
  /** Names of the files that change. */
  readonly changed: readonly string[];
  /** What becomes of each chosen and needed object, by language. Empty for a whole restore. */
  readonly plans: readonly { readonly dialect: string; readonly plan: GraftPlan }[];
  readonly fillIns: readonly FillIn[];
  readonly difference: CaptureComparison;
  /** Null when neither side carries packet rules, or when they cannot be compared (`trafficUnknown`). */
  readonly traffic: TrafficDifference | null;
  /** Why traffic was not compared, as a sentence; else null. */
  readonly trafficUnknown: string | null;
  /** The user's names for addresses and ports, for rows of traffic. */
  naming(): Naming;
  /** Findings that the graft would bring: shadowing, overlaps, redundant rules. Worked out when asked for. */
  findings(): Findings;
  readonly promises: PromiseAnswer;
  readonly restart: Restart;
  /** Any of these stops the graft of this device. */
  readonly problems: readonly TargetProblem[];
}

/**
 * Plans a graft for one device and proves what it changes. Reads nothing but what it is given; `before` is the reading
 * of the target's files, where they were read already.
 */
export function planTarget(
  graft: PreparedGraft,
  target: GraftTarget,
  before: ReadCapture = readCapture(target.files, target.reading),
): TargetPlan {
  const problems: TargetProblem[] = [];
  const plans: { dialect: string; plan: GraftPlan }[] = [];
  const fillIns = attempt(problems, 'fill-in', () =>
    fillInsOf(target.device.name, graft.occurring, (text) => target.fill(text)),
  );
  const grafted = new Map<CapturePart, CapturePart>();
  for (const chosen of fillIns === undefined ? [] : graft.parts) {
    const done = attempt(problems, 'cannot be written', () => {
      const filled = withFillIns(chosen, fillIns ?? []);
      const onto = partFor(before, filled.part.dialect.name);
      const { plan, after } = graftPart(filled, onto, graft.wish);
      plans.push({ dialect: onto.dialect.name, plan });
      problems.push(
        ...plan.problems.map(({ what, sentence, candidates }) => ({ what, sentence, candidates })),
      );
      return after === null || after === onto ? undefined : { onto, after: { ...onto, ...after } };
    });
    if (done !== undefined) grafted.set(done.onto, done.after);
  }
  const settled = problems.length === 0 ? grafted : new Map<CapturePart, CapturePart>();
  const after: ReadCapture = { ...before, parts: before.parts.map((part) => settled.get(part) ?? part) };
  const texts = new Map(
    [...settled].flatMap(([onto, part]) =>
      part.files
        .filter((file) => onto.files.find(({ name }) => name === file.name)?.text !== file.text)
        .map((file) => [file.name, encode(file)]),
    ),
  );
  const files = target.files.map((file) => ({ ...file, bytes: texts.get(file.name) ?? file.bytes }));
  return { ...proof(target, before, after, files, problems), plans, fillIns: fillIns ?? [] };
}

/** Plans a whole restore: the device holds the capture's files afterwards, byte for byte. */
export function planWhole(files: readonly NamedFile[], target: GraftTarget): TargetPlan {
  const [before, after] = [readCapture(target.files, target.reading), readCapture(files, target.reading)];
  return { ...proof(target, before, after, files, []), plans: [], fillIns: [] };
}

/** Everything that follows from the two configurations, however the second came about. */
function proof(
  target: GraftTarget,
  before: ReadCapture,
  after: ReadCapture,
  files: readonly NamedFile[],
  problems: readonly TargetProblem[],
): Omit<TargetPlan, 'plans' | 'fillIns'> {
  const changed = changedNames(target.files, files);
  const { traffic, trafficUnknown, findings, promises } = trafficProof(target, before, after);
  const difference = compareCaptures(before, after);
  const mentions = difference.parts.flatMap(({ difference: { broken } }) =>
    broken.map(
      ({ from, reference }): TargetProblem => ({
        what: 'broken mention',
        sentence: `${from.kind} ${from.name} would mention ${reference.text}, which the device does not hold.`,
        candidates: [],
      }),
    ),
  );
  return {
    device: target.device.name,
    plannedOn: configurationDigest(target.files),
    before: target.files,
    after: files,
    parts: after.parts,
    changed,
    difference,
    traffic,
    trafficUnknown,
    naming: () => namingOf(before, after),
    findings,
    promises,
    restart: restartFor(changed, target.facts),
    problems: [...problems, ...mentions, ...(target.mayBreak === true ? [] : brokenProblems(promises))],
  };
}

/** A side without packet rules lets everything pass. */
const NO_RULES: Policy = { pipelines: [], unread: [] };

function trafficProof(target: GraftTarget, before: ReadCapture, after: ReadCapture) {
  const none: Findings = { findings: [], unexamined: [] };
  try {
    const [then, now] = [policyOfCapture(before)?.policy ?? null, policyOfCapture(after)?.policy ?? null];
    const [old, fresh] = [
      withUnreadFiles(then ?? NO_RULES, before, after),
      withUnreadFiles(now ?? NO_RULES, after, before),
    ];
    return {
      traffic: then === null && now === null ? null : trafficDifference(old, fresh),
      trafficUnknown: null,
      findings: once(() => (now === null ? none : newFindings(old, fresh))),
      promises: checkAround(target, then === null ? null : old, now === null ? null : fresh),
    };
  } catch (error) {
    if (!(error instanceof TuckpointError)) throw error;
    const trafficUnknown = error.text;
    return { traffic: null, trafficUnknown, findings: () => none, promises: checkAround(target, null, null) };
  }
}

function partFor(target: ReadCapture, dialect: string): CapturePart {
  const found = target.parts.find((part) => part.dialect.name === dialect);
  if (found !== undefined) return found;
  throw new TuckpointError('dialects/cannot-write', `The device holds no ${dialect} file to graft onto.`, {
    advice: 'Take parts that stand in a language the device has.',
  });
}

/** Does the work; an error of the user's material becomes a problem of this device, the others go on. */
function attempt<T>(problems: TargetProblem[], what: TargetProblem['what'], work: () => T): T | undefined {
  try {
    return work();
  } catch (error) {
    if (!(error instanceof TuckpointError)) throw error;
    // What a person can do about fill-ins is said once, below all of them.
    const sentence = what === 'fill-in' ? error.message : error.text;
    problems.push({ what, sentence, candidates: [] });
    return undefined;
  }
}

/** The work is done when first asked for, and once. */
function once<T>(work: () => T): () => T {
  let done: { readonly value: T } | null = null;
  return () => {
    done ??= { value: work() };
    return done.value;
  };
}
