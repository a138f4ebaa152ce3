import { outcomeMark } from './html-parts.ts';
import { html, type Markup } from './markup.ts';
import type { ReportStep, RunReport } from './run-report.ts';
import { clockText, durationText, stepsText } from './sentences.ts';

/** The steps as a log: when, how it ended, what, how long. */
export function stepsPart(report: RunReport): Markup {
  return html`<p>${stepsText(report)}</p>
<ol class="log">
${report.steps.map((step) => line(step, report.startedAt))}</ol>`;
}

function line({ title, startedAt, seconds, outcome, note }: ReportStep, began: string): Markup {
  return html`<li>${
    startedAt === null
      ? html`<span></span>`
      : html`<time datetime="${startedAt}">${clockText(startedAt, began)}</time>`
  } ${outcomeMark(outcome)} <span class="what">${title}</span> <span class="length">${
    seconds === null ? '' : durationText(seconds)
  }</span>${note === null ? null : html` <span class="note">${note}</span>`}</li>
`;
}
