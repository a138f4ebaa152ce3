import { htmlReport } from './html-report.ts';
import type { RunReport } from './run-report.ts';
import { textReport } from './text-report.ts';

export type ReportForm = 'text' | 'json' | 'html';

/** A report as text for a terminal, as JSON, or as one self-contained HTML page. Each ends with a line end. */
export function renderReport(report: RunReport, form: ReportForm): string {
  switch (form) {
    case 'text':
      return textReport(report);
    case 'json':
      return `${JSON.stringify(report, null, 2)}\n`;
    case 'html':
      return htmlReport(report);
  }
}
