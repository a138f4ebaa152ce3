import { changesPart } from './html-changes.ts';
import { bullets, DECISION_TONE, section } from './html-parts.ts';
import { readingsPart } from './html-readings.ts';
import { slotsPart } from './html-slots.ts';
import { stepsPart } from './html-steps.ts';
import { type Content, html, Markup } from './markup.ts';
import { PAGE_STYLE } from './page-style.ts';
import type { RunReport } from './run-report.ts';
import { deviceText, headline, spanText } from './sentences.ts';

/** Nothing may be loaded and nothing may run: the page is what it is, wherever it is opened. */
const POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/** The report as one HTML page that needs nothing else: sentences first, then what they rest on. */
export function htmlReport(report: RunReport): string {
  return html`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${report.device.name}: ${headline(report)}</title>
<style>${new Markup(PAGE_STYLE)}</style>
</head>
<body>
<main>
${head(report)}
${body(report)}
<footer>Run ${report.run}. Times as the workbench told them, with their zone.</footer>
</main>
</body>
</html>
`.source;
}

function head(report: RunReport): Markup {
  const { title } = report.procedure;
  return html`<header>
<p class="who">${deviceText(report)}<br>${spanText(report)}</p>
<div class="decision ${DECISION_TONE[report.decision]}">
<h1>${headline(report)}</h1>
<p>${report.reason}</p>
</div>
<p class="who">Asked for: ${title}.</p>
</header>`;
}

function body(report: RunReport): Content {
  const { configuration, readings, readBack, traffic, notChecked, next, warnings = [] } = report;
  return [
    next.length > 0 ? section('What to do next', bullets(next)) : null,
    warnings.length > 0 ? section('To know beforehand', bullets(warnings)) : null,
    section('What the slots hold', slotsPart(report)),
    section('What was done, step by step', stepsPart(report)),
    configuration.length > 0
      ? section('What changed in the configuration', changesPart(configuration))
      : null,
    readings.length > 0 ? section('Is the device as well as before?', readingsPart(readings)) : null,
    readBack
      ? section('Does the device hold what was predicted?', [
          html`<p>${readBack.sentence}</p>`,
          rows(readBack.promises),
        ])
      : null,
    traffic
      ? section('Does traffic change its verdict?', [html`<p>${traffic.sentence}</p>`, rows(traffic.rows)])
      : null,
    notChecked.length > 0 ? section('What was not checked', bullets(notChecked)) : null,
  ];
}

function rows(entries: readonly string[]): Content {
  return entries.length === 0 ? null : bullets(entries);
}
