import { insideOf, noteProof } from '#archive';
import type { Step } from '../step.ts';

/** The archive notes that the capture was actually restored: the device holds its bytes, as the capture after shows. */
export const noteRestored: Step = {
  name: 'note-restored',
  title: 'note in the archive that the capture was restored',
  async act(run) {
    const { archive } = run.environment;
    const { capture } = run.goal;
    const after = run.facts.captureAfter;
    if (capture === undefined || after === undefined) return undefined;
    const [wanted, shown] = await Promise.all([archive.get(capture), archive.get(after)]);
    if (wanted.record.digest === shown.record.digest)
      await noteProof(insideOf(archive), 'restored', [capture], `run ${run.id} onto ${run.device.name}`);
    return undefined;
  },
};
