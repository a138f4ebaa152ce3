import { fit } from '#core/release';
import { refusalOf } from '#core/slots';
import { refused } from '../refused.ts';
import type { RunContext } from '../run-context.ts';
import type { Step } from '../step.ts';

/** Does the release fit this device, and is there a way back? */
export const checkFit: Step = {
  name: 'fit',
  title: 'check that the release fits the device, and that there will be a way back',
  async act(run) {
    const { before } = run.facts;
    const { release } = run.goal;
    if (before === undefined || release === undefined) return undefined;
    const { model, release: present } = before.identity;
    const verdict = fit(release.sheet, { model, release: present });
    if (verdict.verdict !== 'fits') {
      const against = verdict.reasons.filter((r) => r.weighs === 'against');
      const why = against.length > 0 ? against : verdict.reasons.filter((r) => r.weighs === 'open');
      throw refused({
        sentence: `Release ${release.sheet.release} ${verdict.verdict === 'does not fit' ? 'does not fit' : 'cannot be shown to fit'} ${run.device.name}: ${why.map((r) => r.sentence).join(' ')}`,
        advice: 'Nothing was changed. Choose another release file.',
      });
    }
    await checkWayBack(run);
    return undefined;
  },
};

/** On a device with one slot the way back is a capture, the old firmware and the user's word. */
async function checkWayBack(run: RunContext): Promise<void> {
  const { before } = run.facts;
  const { release, oldRelease, acceptNoReserve } = run.goal;
  const { kind } = await run.deviceFacts();
  if (before === undefined || release === undefined || kind.slots !== 1) return;
  const oldFirmware = oldRelease?.sheet.release === before.identity.release;
  const refusal = refusalOf(before.slots, { name: 'install', release: release.sheet.release }, kind, {
    // The next steps of this run take the capture before anything is written, and end the run when they cannot.
    captureVerified: true,
    oldFirmware,
    word: acceptNoReserve === true,
  });
  if (refusal !== null) {
    throw refused({
      sentence: refusal.sentence,
      advice: `Give the firmware file of ${before.identity.release} with --old, and --accept-no-reserve when you mean it.`,
    });
  }
}
