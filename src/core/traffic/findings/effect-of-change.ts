import { slotsOf } from '../difference/slots.ts';
import type { Policy, Rule, Stage } from '../policy.ts';
import { DEFAULT_BUDGET, type TrafficChange, type TrafficDifference } from '../row.ts';
import { rewriteText } from '../translation.ts';
import { decidersOfFlow } from './effect.ts';

/** What a change comes from, and what does not belong to it though a changed rule matches it. */
export interface ChangeEffect {
  /** The changed rules that decide; where unchanged ones decide on both sides, those that can have brought it about. */
  readonly of: readonly Rule[];
  /** Rules before a changed one in its list that decide on packets it matches; undefined: it would cost too much to say. */
  readonly taken: readonly Rule[] | undefined;
  /** Rules of the other version that treat packets of the changed rule as it does. */
  readonly alike: readonly Rule[] | undefined;
}

/** Above this many causes it is not worked out what does not belong to each. */
const MOST = 20;

/** The effect of each change, in the order of `difference.changes`. */
export function changeEffects(difference: TrafficDifference): ChangeEffect[] {
  const causes = new Set<string>();
  return difference.changes.map((change) => {
    const cause = causeOf(change);
    if (causes.size < MOST) causes.add(cause);
    return effectOf(difference, change, causes.has(cause));
  });
}

/** The same for both versions of IP. */
function causeOf(change: TrafficChange): string {
  const { path, before, after } = change;
  return JSON.stringify([
    path,
    before.verdict,
    after.verdict,
    changedRules(change).map(({ origin }) => origin),
  ]);
}

/** The changed rules that decide; where unchanged ones decide on both sides, those that can have brought it about. */
function changedRules({ changedBefore, changedAfter, among }: TrafficChange): readonly Rule[] {
  const deciding = [changedBefore, changedAfter].filter((rule) => rule !== undefined);
  return deciding.length === 0 ? among : deciding;
}

function effectOf({ before, after }: TrafficDifference, change: TrafficChange, whole: boolean): ChangeEffect {
  const { changedBefore, changedAfter } = change;
  const sides = [
    ...(changedBefore === undefined ? [] : [{ rule: changedBefore, own: before, other: after }]),
    ...(changedAfter === undefined ? [] : [{ rule: changedAfter, own: after, other: before }]),
  ];
  const of = changedRules(change);
  if (!whole) return { of, taken: undefined, alike: undefined };
  const lists = sides.map(({ rule, own, other }) => {
    const place = placeIn(own, rule);
    const twin = place === undefined ? undefined : sameStage(other, place);
    const isOther = (r: Rule) => !of.includes(r);
    return {
      taken: place === undefined ? undefined : deciders(place, rule)?.filter(isOther),
      // Where both sides changed, each is the other's difference: nothing is alike.
      alike:
        twin === undefined || sides.length > 1
          ? []
          : deciders(twin, rule)?.filter((r) => isOther(r) && actionText(r) === actionText(rule)),
    };
  });
  const taken = united(lists.map((l) => l.taken));
  // A rule that stands in both versions takes its packets in both: once is enough.
  const said = new Set(taken?.map(({ origin }) => origin.text));
  const alike = united(lists.map((l) => l.alike))?.filter(({ origin }) => !said.has(origin.text));
  return { of, taken, alike };
}

interface StagePlace {
  readonly stage: Stage;
  readonly pipeline: Policy['pipelines'][number];
}

function placeIn(policy: Policy, rule: Rule): StagePlace | undefined {
  for (const pipeline of policy.pipelines) {
    for (const stage of pipeline.stages) if (stage.rules.includes(rule)) return { stage, pipeline };
  }
  return undefined;
}

function sameStage(policy: Policy, { stage, pipeline }: StagePlace): StagePlace | undefined {
  const other = policy.pipelines.find((p) => p.path === pipeline.path && p.family === pipeline.family);
  const found = other?.stages.find((s) => s.name === stage.name && s.kind === stage.kind);
  return other === undefined || found === undefined ? undefined : { stage: found, pipeline: other };
}

/** The rules of one list that decide on what a rule matches, as packets come to that list. */
function deciders({ stage, pipeline: { path, family } }: StagePlace, rule: Rule): Rule[] | undefined {
  const alone: Policy = { pipelines: [{ path, family, stages: [stage] }], unread: [] };
  const slots = slotsOf(alone, alone, path, family);
  return decidersOfFlow(slots, 0, rule.match, { budget: DEFAULT_BUDGET, spent: 0 });
}

function actionText({ action }: Rule): string {
  if ('verdict' in action) return action.verdict;
  return 'skip' in action ? 'skip' : rewriteText(action.rewrite);
}

function united(lists: readonly (readonly Rule[] | undefined)[]): Rule[] | undefined {
  const all: Rule[] = [];
  for (const list of lists) {
    if (list === undefined) return undefined;
    all.push(...list);
  }
  return [...new Set(all)].sort((a, b) => a.origin.line - b.origin.line);
}
