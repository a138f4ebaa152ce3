import { mkdir, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { TuckpointError } from '#core/errors';
import { type Finished, type RunReport, renderReport, visible } from '#runs';
import type { CliContext } from './context.ts';
import { ExitCode, exitCodeFor } from './exit-codes.ts';
import { readingText } from './reading-text.ts';

/** Writes the report beside the data folder's others, shows it, and sets the exit code by the decision. */
export async function finish(context: CliContext, done: Finished, also?: string): Promise<void> {
  const { folder } = await context.workbench();
  const page = path.join(folder, 'reports', `${done.run}.html`);
  await writeReport(page, done.report);
  if (also !== undefined) await writeReport(also, done.report);
  const { run, decision, reason, report, facts } = done;
  const reading = report.procedure.name === 'reading' ? (facts.readingBefore ?? null) : undefined;
  const shown = reading == null ? '' : `\n${visible(readingText(reading))}`;
  context.out.result(
    { run, decision, reason, reportFile: page, ...(reading === undefined ? {} : { reading }), report },
    `${shown}\n${renderReport(report, 'text')}\nReport: ${page}`,
  );
  context.exit(codeFor(done));
}

/** Writes a report in the form its ending names. Throws `cli/bad-option`, `cli/cannot-write`. */
export async function writeReport(file: string, report: RunReport): Promise<void> {
  const form = { '.html': 'html', '.json': 'json', '.txt': 'text' }[path.extname(file)] as
    | 'html'
    | 'json'
    | 'text'
    | undefined;
  if (form === undefined) {
    throw new TuckpointError('cli/bad-option', 'A report ends in .html, .json or .txt.', { place: { file } });
  }
  try {
    await mkdir(path.dirname(file), { recursive: true });
    await writeFile(file, renderReport(report, form));
  } catch (cause) {
    throw new TuckpointError('cli/cannot-write', 'The report cannot be written.', { place: { file }, cause });
  }
}

/** The exit code that says how a run ended. */
export function codeFor({ decision, failure, facts }: Finished): number {
  const isWorse = decision === 'done' && facts.comparison?.verdict === 'worse';
  return isWorse ? ExitCode.different : codeOfDecision(decision, failure);
}

/** The exit code of a decision; `failure`: the code of the error that ended it. */
export function codeOfDecision(decision: Finished['decision'], failure: Finished['failure']): number {
  switch (decision) {
    case 'done':
    case 'kept':
      return ExitCode.ok;
    case 'went back':
      return ExitCode.different;
    case 'stopped':
      return ExitCode.undecided;
    case 'not done':
      return failure === null ? ExitCode.failed : exitCodeFor(failure);
  }
}
