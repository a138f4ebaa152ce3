import { type SlotState, shortDigest, slotLines } from '#core/slots';
import { type Content, html, type Markup } from './markup.ts';
import type { RunReport } from './run-report.ts';
import { sameSlots, slotsText } from './sentences.ts';

/** What each slot held before, should hold and holds, as strips of boxes; the prediction only where it differs. */
export function slotsPart({ slots, decision }: RunReport): Markup {
  const { before, predicted, after } = slots;
  const differs = predicted !== null && (after === null || !sameSlots(predicted, after));
  return html`<p>${slotsText(slots, decision)}</p>
<div class="moments">
${moment('Before', before)}${moment('Predicted', differs ? predicted : null)}${moment('After', after)}</div>`;
}

function moment(title: string, state: SlotState | null): Content {
  if (state === null) return null;
  return html`<div>
<h3>${title}</h3>
<div class="strip">
${state.slots.map((_, index) => box(state, index))}</div>
</div>
`;
}

function box(state: SlotState, index: number): Markup {
  const { id, release, configuration } = state.slots[index]!;
  const [part, , , booted] = slotLines(state, index);
  return html`<div class="slot${index === state.running ? ' runs' : ''}">
<h4>Slot ${id}</h4>
<p>${part!}</p>
<dl>
<dt>release</dt><dd>${release ?? 'unknown'}</dd>
<dt>config</dt><dd class="digest">${configuration === null ? 'unknown' : shortDigest(configuration)}</dd>
</dl>
<p>${booted!}</p>
</div>
`;
}
