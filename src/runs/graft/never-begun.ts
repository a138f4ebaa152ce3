import type { RunEnvironment } from '../environment.ts';
import type { Goal } from '../facts.ts';

/** A graft of which some devices were never begun. */
export interface Unfinished {
  readonly title: string;
  readonly group: string;
  readonly devices: readonly string[];
}

/**
 * The devices that the graft of this run was meant for as well and that no run was begun on, neither of this graft nor of a
 * later one of the same title: the workbench was killed, or a device that did not end as planned stopped the rest. Null
 * when there are none, or the run is no graft.
 * @throws TuckpointError `store/unknown-run`.
 */
export async function neverBegun(
  { store }: Pick<RunEnvironment, 'store'>,
  run: string,
): Promise<Unfinished | null> {
  const { graft } = (await store.journal.get(run)).goal as Goal;
  if (graft === undefined) return null;
  const { title, group } = graft;
  const runs = (await store.journal.list()).filter(({ goal }) => (goal as Goal).graft?.title === title);
  const own = runs.filter(({ goal }) => (goal as Goal).graft?.group === group);
  const meant = own.flatMap(({ goal }) => (goal as Goal).graft?.devices ?? []);
  const first = own.map(({ id }) => id).sort()[0]!;
  const begun = new Set(runs.filter(({ id }) => id >= first).map(({ device }) => device));
  const devices = meant.filter((device) => !begun.has(device));
  return devices.length === 0 ? null : { title, group, devices };
}
