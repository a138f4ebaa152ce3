import { type ConfigObject, canonical, type FieldChange, fieldChanges, type Selector } from '#core/config';
import { codeOf } from '#core/errors';
import { chooseFrom, type ReadCapture } from '#dialects';
import type { TargetPlan } from './target-plan.ts';

/** How a device stands to the shared parts, as a yardstick has them. */
export interface Drift {
  readonly holds: readonly ConfigObject[];
  readonly differs: readonly Differing[];
  readonly lacks: readonly ConfigObject[];
}

export interface Differing {
  readonly object: ConfigObject;
  /** The device's own. */
  readonly there: ConfigObject;
  /** From the device's value to the yardstick's; empty where only what stands in it differs. */
  readonly fields: readonly FieldChange[];
}

/** Reads the drift off a plan that would bring the device level (collisions decided as "take"). */
export function driftOf({ plans }: Pick<TargetPlan, 'plans'>): Drift {
  const holds: ConfigObject[] = [];
  const differs: Differing[] = [];
  const lacks: ConfigObject[] = [];
  for (const { part, fate } of plans.flatMap(({ plan }) => plan.carried)) {
    const { object, role, whole } = part;
    if (role === 'container' && !whole) continue;
    if (fate.how === 'found') holds.push(object);
    else if (fate.how === 'added') lacks.push(object);
    else if (fate.how !== 'inside')
      differs.push({ object, there: fate.there, fields: fieldChanges(fate.there.value, object.value) });
  }
  return { holds, differs, lacks };
}

/**
 * Of several devices the one whose shared parts are most like those of the others, the earlier on a tie; null when none
 * has any. `forms` are those of `formsIn`.
 */
export function commonest(forms: readonly (readonly string[])[]): number | null {
  const counts = new Map<string, number>();
  for (const form of forms.flat()) counts.set(form, (counts.get(form) ?? 0) + 1);
  let best: number | null = null;
  let most = 0;
  for (const [i, own] of forms.entries()) {
    const shared = own.reduce((sum, form) => sum + counts.get(form)!, 0);
    if (shared <= most) continue;
    best = i;
    most = shared;
  }
  return best;
}

/** Every chosen or needed object with its meaning, each once. */
export function formsIn(capture: ReadCapture, selectors: readonly Selector[]): string[] {
  const parts = selectors.flatMap((selector) => {
    try {
      return chooseFrom(capture, [selector]);
    } catch (error) {
      if (codeOf(error) !== 'config/nothing-selected') throw error;
      return [];
    }
  });
  const objects = parts.flatMap(({ closure }) => closure.parts.filter(({ whole }) => whole));
  return [
    ...new Set(objects.map(({ object: { kind, name, value } }) => `${kind} ${name} ${canonical(value)}`)),
  ];
}
