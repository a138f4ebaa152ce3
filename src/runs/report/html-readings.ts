import type { Finding } from '#core/reading';
import { judgementMark } from './html-parts.ts';
import { html, type Markup } from './markup.ts';
import type { ReadingsSection } from './run-report.ts';
import { byWeight, countText, JUDGEMENT_WORD, readingsText } from './sentences.ts';

/** Readings side by side, the heaviest finding first, and what is as before to be unfolded. The roles keep the table a table where rows become blocks. */
export function readingsPart(sections: readonly ReadingsSection[]): Markup {
  return html`${sections.map(({ title, beforeAt, afterAt, comparison }) => {
    const { differing, same } = byWeight(comparison.findings);
    return html`<h3>${title}</h3>
<p>${readingsText(comparison.verdict)} Compared are the readings of ${beforeAt} and ${afterAt}; a difference in loss or errors counts as real at a significance level of ${comparison.significance}.</p>
${table(differing)}${same.length === 0 ? '' : html`<details><summary>${JUDGEMENT_WORD.same}, ${countText(same)}</summary>\n${table(same)}</details>\n`}`;
  })}`;
}

function table(findings: readonly Finding[]): Markup | '' {
  if (findings.length === 0) return '';
  return html`<table role="table">
<thead role="rowgroup"><tr role="row"><th role="columnheader" scope="col">what</th><th role="columnheader" scope="col">before</th><th role="columnheader" scope="col">after</th><th role="columnheader" scope="col">judged</th><th role="columnheader" scope="col">why</th></tr></thead>
<tbody role="rowgroup">
${findings.map(row)}</tbody>
</table>
`;
}

function row({ what, before, after, judgement, why }: Finding): Markup {
  return html`<tr role="row"><th role="rowheader" scope="row">${what}</th><td role="cell" data-is="before:">${before}</td><td role="cell" data-is="after:">${after}</td><td role="cell">${judgementMark(judgement)}</td><td role="cell" class="why">${why}</td></tr>
`;
}
