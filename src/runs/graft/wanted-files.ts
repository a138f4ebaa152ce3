import type { NamedFile } from '#links/port';
import type { RunContext } from '../run-context.ts';
import { missing } from '../steps/transfer.ts';

/** The configuration that a run is to bring onto its device: a capture of the archive, or the files it was begun with. */
export async function wantedFiles(run: RunContext): Promise<readonly NamedFile[]> {
  const { archive, store } = run.environment;
  if (run.goal.capture !== undefined) return (await archive.get(run.goal.capture)).files;
  const planned = await store.journal.plannedFiles(run.id);
  if (planned === null) throw missing('planned files');
  return planned;
}
