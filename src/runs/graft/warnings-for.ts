import type { RunEnvironment } from '../environment.ts';
import type { Look } from '../facts.ts';
import type { Reading } from '../languages.ts';
import { type RestoreWarning, restoreWarnings } from './restore-warnings.ts';

/** The warnings about restoring a capture onto a device, by what the store and the archive know of both. */
export async function warningsFor(
  { store, archive }: RunEnvironment,
  device: string,
  captureId: string,
  reading: Reading,
  now?: Look,
): Promise<RestoreWarning[]> {
  const capture = await archive.get(captureId);
  const seen = now === undefined ? await store.observations.lastSighting(device) : now.identity;
  const [last] = await store.observations.readings(device, 1);
  const newest = (await archive.list(device)).at(-1);
  const source = await store.observations.lastSighting(capture.record.device);
  return restoreWarnings(capture, source, {
    device,
    seen,
    interfaces: last === undefined ? null : last.interfaces.map(({ name }) => name),
    files: newest === undefined ? null : (await archive.get(newest.id)).files,
    reading,
  });
}
