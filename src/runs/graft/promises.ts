import {
  checkPromises,
  type Policy,
  type PromiseCheck,
  rowMeets,
  type TrafficPromise,
  trafficDifference,
} from '#core/traffic';
import { wayIn } from '../promises/way-in.ts';
import type { GraftTarget, TargetProblem } from './graft-target.ts';

/** Promises on a device's configuration after a graft, the way in first. */
export interface PromiseAnswer {
  readonly checks: readonly (PromiseCheck & {
    /** It was broken before, and nothing more of it breaks. */
    readonly brokenBefore: boolean;
  })[];
  /** Why promises, or the way from the workbench, were not checked, as sentences. */
  readonly notChecked: readonly string[];
}

/** Checks the device's promises after the graft, and of those broken, whether they were before. */
export function checkAround(
  target: Pick<GraftTarget, 'device' | 'way' | 'promises'>,
  before: Policy | null,
  after: Policy | null,
): PromiseAnswer {
  const { device, way } = target;
  const notChecked =
    way === null
      ? [`The way from the workbench was not checked: the address of ${device.name} is not known from here.`]
      : [];
  const wanted = [...(way === null ? [] : wayIn(device, way.workbench, way.device)), ...target.promises];
  if (after === null) {
    const unread = wanted.length === 0 ? [] : ['No packet rules were read: promises were not checked.'];
    return { checks: [], notChecked: [...notChecked, ...unread] };
  }
  const checks = checkPromises(after, wanted).map((check) => ({
    ...check,
    brokenBefore: check.answer === 'broken' && before !== null && wasBroken(check.promise, before, after),
  }));
  return { checks, notChecked };
}

/**
 * Was all that breaks broken before? A promise that names no interface is often broken in part: the way in is open on
 * the interface for upkeep only. It must not hide that this part is shut as well.
 */
function wasBroken(promise: TrafficPromise, before: Policy, after: Policy): boolean {
  const [check] = checkPromises(before, [promise]);
  if (check?.answer !== 'broken') return false;
  const { path, flow, must } = promise;
  const of = flow.source?.family ?? flow.destination?.family;
  const families = promise.families ?? (of === undefined ? ([4, 6] as const) : [of]);
  const { rows, unresolved } = trafficDifference(before, after);
  const breaks = (verdict: string) => (verdict === 'accept') === (must === 'not pass');
  const more = rows.some(
    (row) => breaks(row.after.verdict) && !breaks(row.before.verdict) && rowMeets(row, path, families, flow),
  );
  return !more && !unresolved.some((part) => part.path === path && families.includes(part.family));
}

/** Promises that hold now and would not afterwards. */
export function brokenProblems({ checks }: PromiseAnswer): TargetProblem[] {
  return checks
    .filter(({ answer, brokenBefore }) => answer === 'broken' && !brokenBefore)
    .map(({ promise }) => ({
      what: 'broken promise',
      sentence: `A promise would break: ${promise.words} (must ${promise.must}).`,
      candidates: [],
    }));
}
