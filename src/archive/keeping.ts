import { archiveError } from './errors.ts';
import type { Inside } from './inside.ts';
import { purgeDeleted, removeSpent } from './packing.ts';
import { type KeepDecision, type KeepRules, planRetention } from './retention.ts';

/** Gives a capture a name, which keeps every rule from deleting it; null takes the name away. */
export async function nameCapture(inside: Inside, id: string, name: string | null): Promise<void> {
  await inside.alone(async () => {
    if (inside.catalogue.record(id) === undefined)
      throw archiveError('archive/unknown-capture', `The archive holds no capture ${JSON.stringify(id)}.`);
    await inside.append([{ kind: 'named', id, name }]);
  });
}

/** What no rule may delete besides what the rules know themselves: id -> why. */
function protections(inside: Inside, reserves: ReadonlySet<string>): Map<string, string> {
  const { catalogue } = inside;
  const protect = new Map<string, string>();
  for (const device of catalogue.devices) {
    const proven = catalogue
      .list(device)
      .findLast(({ id }) =>
        (['verified', 'rehearsed', 'restored'] as const).some((what) => catalogue.provenAt(id, what)),
      );
    if (proven !== undefined) protect.set(proven.id, 'newest proven good');
  }
  for (const { id } of catalogue.list()) {
    const name = catalogue.nameOf(id);
    if (name !== null) protect.set(id, `named ${JSON.stringify(name)}`);
    if (reserves.has(id)) protect.set(id, 'reserve of a run');
  }
  return protect;
}

/** What the rules would do now, per capture, oldest first. `reserves`: captures that open runs must be able to go back to. */
export async function previewRetention(
  inside: Inside,
  rules: KeepRules,
  reserves: ReadonlySet<string>,
): Promise<readonly KeepDecision[]> {
  await inside.refresh();
  return planRetention(
    inside.catalogue.list(),
    rules,
    inside.now().toISOString(),
    protections(inside, reserves),
  );
}

/**
 * Deletes the captures of a preview: what the preview did not show as to go is never deleted, and what has become
 * protected since is left. Returns the ids deleted.
 */
export async function applyRetention(
  inside: Inside,
  preview: readonly KeepDecision[],
  rules: KeepRules,
  reserves: ReadonlySet<string>,
): Promise<readonly string[]> {
  const shown = new Set(preview.filter((decision) => !decision.keep).map((decision) => decision.record.id));
  return inside.alone(async () => {
    const now = planRetention(
      inside.catalogue.list(),
      rules,
      inside.now().toISOString(),
      protections(inside, reserves),
    );
    const ids = now
      .filter(({ keep, record }) => !keep && shown.has(record.id))
      .map(({ record }) => record.id);
    if (ids.length > 0) await erase(inside, ids, `keep rules ${JSON.stringify(rules)}`);
    return ids;
  });
}

/**
 * Deletes captures by the user's word. Throws `archive/protected` for one that is named or the last of its device
 * (`evenProtected` overrides), `archive/unknown-capture`.
 */
export async function deleteCaptures(
  inside: Inside,
  ids: readonly string[],
  why: string,
  evenProtected = false,
): Promise<void> {
  await inside.alone(async () => {
    const gone = new Set(ids);
    for (const id of gone) {
      const record = inside.catalogue.record(id);
      if (record === undefined)
        throw archiveError('archive/unknown-capture', `The archive holds no capture ${JSON.stringify(id)}.`);
      if (evenProtected) continue;
      const name = inside.catalogue.nameOf(id);
      if (name !== null)
        throw archiveError('archive/protected', `${id} is named ${JSON.stringify(name)}.`, {
          advice: 'Take its name away first.',
        });
      if (inside.catalogue.list(record.device).every((one) => gone.has(one.id)))
        throw archiveError('archive/protected', `Nothing would be left of ${record.device}.`, {
          advice: 'Keep at least its newest capture.',
        });
    }
    await erase(inside, [...gone], why);
  });
}

/** The line first, then the bytes: a crash between leaves bytes that the next tidying removes. */
async function erase(inside: Inside, ids: readonly string[], why: string): Promise<void> {
  await inside.append([{ kind: 'deleted', ids: [...ids], why }]);
  await purgeDeleted(inside);
  await removeSpent(inside);
}
