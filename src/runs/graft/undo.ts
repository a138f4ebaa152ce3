import { TuckpointError } from '#core/errors';
import type { RunRecord } from '#store';
import type { RunEnvironment } from '../environment.ts';
import type { Accepted, Facts, Goal } from '../facts.ts';
import { type CarryOutOptions, type GroupResult, inTurn, oneRun } from './carry-out.ts';

/**
 * Takes grafts and restores back: one run, or all of a group, the newest first. Each device gets the configuration
 * captured before it, by a run with the same checks. A device that changed since is refused, never overwritten.
 * @throws TuckpointError `store/unknown-run`, `runs/refused` when nothing of it stands.
 */
export async function undoGraft(
  environment: RunEnvironment,
  id: string,
  options: Pick<CarryOutOptions, 'width' | 'tell'> & {
    readonly accepted?: Accepted;
    readonly acceptNoReserve?: boolean;
  },
): Promise<GroupResult> {
  const runs = await standing(environment, id);
  const targets = runs.map(({ id: run, device, facts, goal }) => ({
    run,
    device,
    facts: facts as Facts,
    languages: (goal as Goal).languages,
  }));
  const begin = async ({ device, languages, ...undone }: (typeof targets)[number]) => {
    const goal = await goalOf(environment, undone, options);
    const reading = languages === undefined ? {} : { languages };
    return oneRun(environment, { ...goal, ...reading }, { device }, options.tell);
  };
  return { group: id, ...(await inTurn(targets, { canary: null, width: options.width }, begin)) };
}

async function goalOf(
  { archive }: RunEnvironment,
  { run, facts }: { readonly run: string; readonly facts: Facts },
  { accepted, acceptNoReserve }: { readonly accepted?: Accepted; readonly acceptNoReserve?: boolean },
): Promise<Goal> {
  const [before, after] = [await archive.get(facts.captureBefore!), await archive.get(facts.captureAfter!)];
  return {
    capture: before.record.id,
    captureDigest: before.record.digest,
    plannedOn: after.record.digest,
    undoes: run,
    ...(accepted === undefined ? {} : { accepted }),
    ...(acceptNoReserve === true ? { acceptNoReserve } : {}),
  };
}

/** The runs meant that were kept, the newest first. */
async function standing({ store }: RunEnvironment, id: string): Promise<RunRecord[]> {
  const inGroup = (await store.journal.list()).filter(
    (run) => (run.goal as Goal).graft?.group === id && run.procedure === 'graft',
  );
  const named = inGroup.length > 0 ? inGroup : [await store.journal.get(id)];
  const kept = named.filter(({ procedure, decision, facts }) => {
    const { captureBefore, captureAfter } = facts as Facts;
    const brings = procedure === 'graft' || procedure === 'restore';
    return brings && decision === 'kept' && captureBefore !== undefined && captureAfter !== undefined;
  });
  if (kept.length > 0) return kept;
  throw new TuckpointError('runs/refused', `Nothing of ${id} stands: there is nothing to undo.`, {
    advice: 'Only a graft or a restore that was kept can be undone; "tuckpoint runs" shows how each ended.',
  });
}
