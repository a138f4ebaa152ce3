import { drawSlots } from '#core/slots';
import type { Plan } from '#runs';

/** A dry run in words: the steps in order, the slots after each that changes them. */
export function planText(plan: Plan): string {
  const lines = [`Dry run of "${plan.procedure}" on ${plan.device}. The device was not touched.`, ''];
  if (plan.slots !== null)
    lines.push(`Slots as last seen ${plan.seenAt}:`, drawSlots(plan.slots).trimEnd(), '');
  for (const doubt of plan.doubts) lines.push(`Note: ${doubt}`);
  if (plan.doubts.length > 0) lines.push('');
  let slots = plan.slots;
  plan.steps.forEach((step, index) => {
    lines.push(`${String(index + 1).padStart(2)}. ${step.title}`);
    if (
      step.predicted !== null &&
      slots !== null &&
      JSON.stringify(step.predicted) !== JSON.stringify(slots)
    ) {
      lines.push(indent(drawSlots(step.predicted)));
      slots = step.predicted;
    }
  });
  if (plan.wayBack.length > 0) {
    const or = plan.procedure === 'update' ? 'the new release does not come up' : 'not as predicted';
    lines.push('', `Only if it is worse afterwards, or ${or}:`);
    for (const title of plan.wayBack) lines.push(`  - ${title}`);
  }
  return lines.join('\n');
}

function indent(text: string): string {
  return text
    .trimEnd()
    .split('\n')
    .map((line) => `    ${line}`)
    .join('\n');
}
