import path from 'node:path';
import { type GroupResult, renderReport, type TargetResult } from '#runs';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';
import { codeOfDecision, writeReport } from './run-result.ts';
import { table } from './table.ts';

/**
 * Writes the report of each run, shows what became of all devices, and sets the exit code. `planned`: what was shown
 * before, which JSON has beside it. `mayUndo`: what was kept can be taken back as a group.
 */
export async function finishGroup(
  context: CliContext,
  done: GroupResult,
  planned: object = {},
  mayUndo = true,
): Promise<void> {
  const { folder } = await context.workbench();
  const results = [];
  for (const result of done.results) {
    const page = result.run === null ? null : path.join(folder, 'reports', `${result.run}.html`);
    if (page !== null && result.report !== null) await writeReport(page, result.report);
    results.push({ ...result, reportFile: page });
    context.exit(codeOfResult(result));
  }
  context.out.result({ ...planned, ...done, results }, textOf(done, results, mayUndo));
}

function textOf(
  { group, stoppedBy, results }: GroupResult,
  shown: readonly (TargetResult & { readonly reportFile: string | null })[],
  mayUndo: boolean,
): string {
  const rows = shown.map(({ device, run, decision, reason }) => [device, run ?? '-', decision, reason]);
  const lines = ['', table(['device', 'run', 'how it ended', 'why'], rows)];
  const odd = results.find(({ device }) => device === stoppedBy);
  if (odd?.report != null) lines.push('', renderReport(odd.report, 'text'));
  const left = results.filter(({ decision }) => decision === 'not begun').map(({ device }) => device);
  if (left.length > 0) lines.push('', `Not begun: ${left.join(', ')}.`);
  for (const { reportFile } of shown) if (reportFile !== null) lines.push(`Report: ${reportFile}`);
  if (
    mayUndo &&
    results.some(({ decision, report }) => decision === 'kept' && report?.procedure.name === 'graft')
  )
    lines.push(`"tuckpoint graft undo ${group}" takes back what was kept.`);
  return lines.join('\n');
}

/** A device that was not begun says nothing: the one that stopped the group does. */
function codeOfResult({ decision, failure }: TargetResult): number {
  return decision === 'not begun' ? ExitCode.ok : codeOfDecision(decision, failure);
}
