import type { RunEnvironment } from '../environment.ts';
import type { Look } from '../facts.ts';
import { type RestoreWarning, restoreWarnings } from './restore-warnings.ts';

/** The warnings about restoring a capture onto a device, by what the store and the archive know of both. */
export async function warningsFor(
  { store, archive }: RunEnvironment,
  device: string,
  captureId: string,
  now?: Look,
): Promise<RestoreWarning[]> {
  const capture = await archive.get(captureId);
  const seen = now === undefined ? await store.observations.lastSighting(device) : now.identity;
  const [reading] = await store.observations.readings(device, 1);
  const last = (await archive.list(device)).at(-1);
  const source = await store.observations.lastSighting(capture.record.device);
  return restoreWarnings(capture, source, {
    device,
    seen,
    interfaces: reading === undefined ? null : reading.interfaces.map(({ name }) => name),
    files: last === undefined ? null : (await archive.get(last.id)).files,
  });
}
