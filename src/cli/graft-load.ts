import { readCapture } from '#dialects';
import type { PlannedDevice, Reading, TargetPlan } from '#runs';

/**
 * Loads what a plan would put on a device into a kernel, in a namespace of its own, where that can be done here; `loaded`
 * says what came of it. A result that is refused, where what the device holds now is not, stops the device.
 */
export async function loadedForReal(
  planned: PlannedDevice,
  reading: Reading,
): Promise<{ readonly planned: PlannedDevice; readonly loaded: string | null }> {
  const { plan } = planned;
  if (plan === null || plan.problems.length > 0 || !changesNftables(plan)) return { planned, loaded: null };
  const { loadCapture } = await import('#rehearsal');
  const after = await loadCapture({ files: plan.after }, plan.parts);
  if (after === null) return { planned, loaded: null };
  if (after.state === 'loaded') {
    const { tables, chains, rules } = after;
    const what = `${tables} tables, ${chains} chains, ${rules} rules`;
    return { planned, loaded: `Loaded for real here, in a namespace of its own: ${what}.` };
  }
  if (after.state === 'not here') return { planned, loaded: `Not loaded for real: ${after.why}` };
  const files = plan.before;
  if ((await loadCapture({ files }, readCapture(files, reading).parts))?.state === 'refused')
    return { planned, loaded: 'Not loaded for real: what the device holds now is refused here as well.' };
  const sentence = `The packet filter here refuses the result: ${after.why.split('\n')[0]}`;
  const problems = [...plan.problems, { what: 'does not load' as const, sentence, candidates: [] }];
  return { planned: { ...planned, plan: { ...plan, problems } }, loaded: sentence };
}

function changesNftables({ changed, parts }: TargetPlan): boolean {
  return parts.some(
    ({ dialect, files }) => dialect.name === 'nftables' && files.some(({ name }) => changed.includes(name)),
  );
}
