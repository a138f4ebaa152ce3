import type { Command } from 'commander';
import { type RunReport, renderReport } from '#runs';
import type { CliContext } from './context.ts';
import { writeReport } from './run-result.ts';
import { table } from './table.ts';

/** `runs` lists them; `report RUN` shows one again. */
export function runsCommands(program: Command, context: CliContext): void {
  program
    .command('runs [device]')
    .description('the runs, newest first')
    .option('--most <n>', 'at most this many', '20')
    .action(async (device: string | undefined, options: { most: string }) => {
      const bench = await context.workbench();
      if (device !== undefined) await bench.store.devices.get(device);
      const runs = (await bench.store.journal.list(device)).slice(0, Number(options.most) || 20);
      context.out.result(
        runs.map(({ report: _report, facts: _facts, ...run }) => run),
        runs.length === 0
          ? 'No run yet.'
          : table(
              ['run', 'device', 'what', 'started', 'how it stands'],
              runs.map((r) => [
                r.id,
                r.device,
                r.procedure,
                r.startedAt,
                r.decision ?? (r.state === 'open' ? 'at work, or interrupted' : r.state),
              ]),
            ),
      );
    });

  program
    .command('report <run>')
    .description('the report of a run, again')
    .option('--write <file>', 'write it to this file (.html, .json or .txt)')
    .action(async (id: string, options: { write?: string }) => {
      const bench = await context.workbench();
      const { report } = await bench.store.journal.get(id);
      if (report === null)
        return context.out.result(
          null,
          `Run ${id} has no report yet: it has not come to an end. "tuckpoint resume ${id}" goes on with it.`,
        );
      if (options.write !== undefined) await writeReport(options.write, report as RunReport);
      context.out.result(report, renderReport(report as RunReport, 'text'));
    });
}
