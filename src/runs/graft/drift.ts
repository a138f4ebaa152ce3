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
 * Of several captures the one whose shared parts are most like those of the others, the earlier on a tie; null when
 * the selectors pick nothing in any.
 */
export function commonest(captures: readonly ReadCapture[], selectors: readonly Selector[]): number | null {
  const forms = captures.map((capture) => formsIn(capture, selectors));
  const counts = new Map<string, number>();
  for (const form of forms.flat()) counts.set(form, (counts.get(form) ?? 0) + 1);
  let best: number | null = null;
  let most = 0;
  for (const [i, own] of forms.entries()) {
    // A form that nobody else has speaks neither for nor against.
    const shared = own.reduce((sum, form) => sum + counts.get(form)!, 0);
    if (shared <= most) continue;
    best = i;
    most = shared;
  }
  return best;
}

/** Every chosen or needed object with its meaning, each once. */
function formsIn(capture: ReadCapture, selectors: readonly Selector[]): string[] {
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
